"""An electronic load: the level first, then the mode, then the input, and all of it read back."""

from collections.abc import Mapping

from drivers.errors import InstrumentError, RefusedSetting
from drivers.instrument import Instrument
from drivers.roles import LoadMode
from drivers.settings import Change, change, confirm, read_back


class ElectronicLoad:
    """The load role over a dialect; remembers what it was set to, to recognise a reboot or trip."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument
        self._state: tuple[LoadMode, float, bool] | None = None
        instrument.session.on_reopened = self._confirm

    def apply(self, mode: LoadMode, level: float, *, on: bool) -> Mapping[str, float | str | bool]:
        """Set level, mode and input in this order; return mode, level and on as read back.

        A load that is to be off is switched off first. Each mode keeps its own level, so setting
        the level first never lets an old one act in the new mode.

        Raises
        ------
        RefusedSetting
            When something reads back differently, as after a latched protection, or an error
            stands in the load's queue.
        """
        self._state = None
        said = self._instrument.once_more(lambda: change(self._instrument, _steps(mode, level, on)))
        self._state = (mode, level, on)
        return {
            "mode": said["mode"],
            "level": said[f"level_{mode}"],
            "on": said["input"] == "on",
        }

    def off(self) -> bool:
        """Switch the input off; return whether the load's read-back confirms it.

        Raises
        ------
        InstrumentError
            When the load can't be reached or says that its input stays on.
        """
        self._state = None
        self._instrument.once_more(lambda: change(self._instrument, (Change("input", "off"),)))
        return self._instrument.setting("input").read_back is not None

    def complaints(self) -> tuple[str, ...]:
        """Return what is wrong with the load's state, compared with what it was set to."""
        state = self._state
        if state is None or not state[2] or self._instrument.setting("input").read_back is None:
            return ()
        said = read_back(self._instrument, "input")
        if said == "on":
            return ()
        return (f"{self._instrument.name}: its input is {said} though it was switched on",)

    def _confirm(self) -> None:
        """Make sure, after the link was reopened, that the load is still as it was set."""
        if self._state is None:
            return
        mode, level, on = self._state
        try:
            for step in _steps(mode, level, on):
                confirm(self._instrument, step)
        except RefusedSetting as error:
            raise _lost_its_state(error) from error


def _steps(mode: LoadMode, level: float, on: bool) -> tuple[Change, ...]:
    setting = (Change(f"level_{mode}", level), Change("mode", mode))
    switch = Change("input", "on" if on else "off")
    return (*setting, switch) if on else (switch, *setting)


def _lost_its_state(error: InstrumentError) -> RefusedSetting:
    return RefusedSetting(
        instrument=error.instrument,
        address=error.address,
        found=f"after the link was lost its state is another: {error.found}",
        sent=error.sent,
        answer=error.answer,
        remedy="It was restarted, tripped or changed at its panel: find out why before going on.",
    )
