"""A supply under remote control, over a dialect."""

from collections.abc import Mapping

from drivers.instrument import Instrument
from drivers.settings import Change, change


class RemoteSupply:
    """The supply role: settings before the output goes on, the output first when it goes off."""

    def __init__(self, instrument: Instrument) -> None:
        self._instrument = instrument

    def apply(
        self, *, voltage: float | None, current_limit: float | None, output: bool | None
    ) -> Mapping[str, float | str | bool]:
        """Set what is not None; return what the supply says it is set to.

        Raises
        ------
        RefusedSetting
            When something reads back differently or an error stands in the supply's queue.
        """
        steps: list[Change] = []
        if output is False:
            steps.append(Change("output", "off"))
        if voltage is not None:
            steps.append(Change("voltage", voltage))
        if current_limit is not None:
            steps.append(Change("current_limit", current_limit))
        if output is True:
            steps.append(Change("output", "on"))
        said = self._instrument.once_more(lambda: change(self._instrument, steps))
        return {name: value == "on" if name == "output" else value for name, value in said.items()}

    def off(self) -> bool:
        """Switch the output off; return whether the supply's read-back confirms it."""
        self._instrument.once_more(lambda: change(self._instrument, (Change("output", "off"),)))
        return self._instrument.setting("output").read_back is not None
