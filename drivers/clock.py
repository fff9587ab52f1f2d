"""The two clocks of a bench; every wait of the program goes through one of them."""

import time
from dataclasses import replace

from drivers.instrument import Instrument


def since_boot() -> float:
    """Return seconds that a wall-clock step doesn't touch and that go on while suspended."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)  # Linux has it
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class MonotonicClock:
    """Bench time on a table: seconds since the bench was opened, untouched by wall-clock steps.

    A suspended computer does not stop the bench, so that time counts. `at` is the bench time at
    the beginning: that of the gap's end where a run is resumed.
    """

    runs_by_itself = True

    def __init__(self, at: float = 0.0) -> None:
        self._origin = since_boot() - at

    def now(self) -> float:
        """Return bench time in seconds."""
        return since_boot() - self._origin

    stamp = now

    def sleep_until(self, at: float) -> float:
        """Wait until bench time `at` (return at once if past) and return the time reached."""
        while (left := at - self.now()) > 0:
            time.sleep(left)
        return self.now()


class TimeBaseClock:
    """Bench time of a simulated bench: waiting means asking the time base to advance.

    `last` is the latest time that it told.
    """

    runs_by_itself = False

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument
        self._now = instrument.asking("time")
        self._until = instrument.asking("until", value=0.0)
        self._format = instrument.question("until").format
        self.last = 0.0
        self.now()

    def now(self) -> float:
        """Return bench time in seconds; measurements under way end first.

        Raises
        ------
        InstrumentError
            When the time base doesn't answer.
        """
        self.last = self._instrument.once_more(lambda: self._instrument.number(self._now))
        return self.last

    def stamp(self) -> float:
        """Return the latest time told, without asking."""
        return self.last

    def sleep_until(self, at: float) -> float:
        """Let bench time pass until `at` (no effect if past) and return the time reached.

        Raises
        ------
        InstrumentError
            When the time base doesn't answer.
        """
        text = self._instrument.question("until").ask.format(value=format(at, self._format))
        message = self._instrument.session.encode(text)
        asking = replace(self._until, text=text, message=message)
        self.last = self._instrument.once_more(lambda: self._instrument.number(asking))
        return self.last
