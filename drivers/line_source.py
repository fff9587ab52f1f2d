"""A source of line voltage, over a dialect."""

from collections.abc import Mapping

from drivers.instrument import Instrument
from drivers.settings import Change, change


class RemoteLineSource:
    """The line-source role: levels before the output goes on, the output first when it goes off."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument

    def apply(
        self, *, voltage: float | None, frequency: float | None, output: bool | None
    ) -> Mapping[str, float | str | bool]:
        """Set what is not None (V RMS, Hz); return what the source says it is set to.

        Raises
        ------
        RefusedSetting
            When something reads back differently or an error stands in the source's queue.
        """
        levels = {"voltage": voltage, "frequency": frequency}
        steps = [Change(name, value) for name, value in levels.items() if value is not None]
        if output is False:
            steps.insert(0, Change("output", "off"))
        if output is True:
            steps.append(Change("output", "on"))
        said = self._instrument.once_more(lambda: change(self._instrument, steps))
        return {name: value == "on" if name == "output" else value for name, value in said.items()}

    def off(self) -> bool:
        """Switch the line off; return whether the source's read-back confirms it."""
        self._instrument.once_more(lambda: change(self._instrument, (Change("output", "off"),)))
        return self._instrument.setting("output").read_back is not None
