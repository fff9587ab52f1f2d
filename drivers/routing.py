"""Scanners and switches: relays that are told to move, asked whether they did, and never trusted.

A scanner stands before one meter and connects one of several points to it. All its relays are
opened before one closes, as two that are closed together would tie two points of the bench
together through the scanner.
"""

from collections.abc import Callable, Sequence

from drivers.errors import RefusedSetting
from drivers.instrument import Instrument
from drivers.roles import ChannelSpec
from drivers.settings import Change, change

CLOSED, OPEN = "on", "off"


class Scanner:
    """The scanner role over a dialect."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument

    def connect(self, input_: str) -> bool:
        """Connect one input and no other; return whether relays had to move.

        That it is closed is asked each time: a scanner that was restarted has all its relays open,
        and a meter behind it would read nothing as if it were a voltage.

        Raises
        ------
        RefusedSetting
            When the relay doesn't say that it is closed.
        """
        return self._instrument.once_more(lambda: self._connect(input_))

    def _connect(self, input_: str) -> bool:
        if self._instrument.word("closed", input_) == CLOSED:
            return False
        self._instrument.act("open_all", confirmed=True)
        self._instrument.act("close", confirmed=True, input=input_)
        _expect(self._instrument, input_, CLOSED)
        return True


class RelaySwitch:
    """The switch role over a dialect: relays that are closed and opened one by one."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument

    def switch(self, output: str, *, closed: bool) -> bool:
        """Close or open one relay; return whether it confirms it.

        Raises
        ------
        RefusedSetting
            When it says that it didn't move.
        """
        return self._instrument.once_more(lambda: self._switch(output, closed))

    def _switch(self, output: str, closed: bool) -> bool:
        self._instrument.act("close" if closed else "open", confirmed=True, input=output)
        _expect(self._instrument, output, CLOSED if closed else OPEN)
        return True


class Visit:
    """What has to be done before a channel behind a scanner can be read."""

    def __init__(
        self, scanner: Scanner, channel: ChannelSpec, made: "Made", needed: Sequence[Change]
    ) -> None:
        self._scanner = scanner
        self._channel = channel
        self._made = made
        self._needed = tuple(needed)

    def prepare(self) -> float:
        """Set the meter, connect the input; return how many seconds it then has to settle.

        The meter is set first, so that the input never meets the range of another one.
        """
        self._made.make(self._needed)
        moved = self._scanner.connect(self._channel.input or "")
        return self._channel.settling_s if moved else 0.0


class Made:
    """The settings that a meter behind a scanner has now; made again when its link was reopened."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument
        self._now: tuple[Change, ...] = ()
        instrument.session.on_reopened = self._again

    def make(self, needed: tuple[Change, ...]) -> None:
        """Make settings unless they are made already."""
        if needed == self._now:
            return
        self._now = ()
        self._instrument.once_more(lambda: change(self._instrument, needed))
        self._now = needed

    def _again(self) -> None:
        change(self._instrument, self._now)


Prepare = Callable[[], float]


def _expect(instrument: Instrument, input_: str, wanted: str) -> None:
    said = instrument.word("closed", input_)
    if said != wanted:
        words = {CLOSED: "closed", OPEN: "open"}
        raise instrument.session.error(
            RefusedSetting,
            f"relay {input_} was to be {words[wanted]} and says that it is {words.get(said, said)}",
            None,
            None,
            "Look at the relay's number in the bench document, and at the instrument itself.",
        )
