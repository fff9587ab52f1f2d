"""The person in front of the unit, spoken to as an instrument."""

from typing import Final, Literal

from simulated_bench.instruments.numbers import written
from simulated_bench.instruments.surroundings import Surroundings
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Boolean, Choice, Number, Text

METERS: Final = {"VOLTage": "voltage", "CURRent": "current"}
"""Panel meters that a person can be asked to read."""


class PersonInstrument:
    """Passes what is said on to the person."""

    def __init__(self, around: Surroundings) -> None:
        self._person = around.time.world.person
        self._occupancy = around.occupancy
        self._displays = around.displays

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        return (
            Command("OPERator:INSTruct", self._person.instruct, (Text(),)),
            Command("OPERator:SHOW", self._show, (Number(words=False), Boolean())),
            Command("OPERator:STATe?", lambda: self._person.state()[0], kind=Kind.QUESTION),
            Command("OPERator:REMark?", self._remark, kind=Kind.QUESTION),
            Command("OPERator:FINish", self._person.finish),
            Command("OPERator:READ:METer", self._look, (Text(),)),
            Command("OPERator:TYPed?", lambda: f'"{self._person.typed}"', kind=Kind.QUESTION),
            Command("OPERator:READ?", self._read, (Choice(METERS),), Kind.QUESTION),
        )

    def reset(self) -> None:
        """Do nothing: a person can't be reset."""

    def _show(self, value: float, within: bool) -> None:  # a parameter's value
        self._person.show(value, within=within)

    def _read(self, which: Literal["voltage", "current"]) -> str:
        value, takes_s = self._person.read(which)
        self._occupancy.spend(takes_s)
        return written(value)

    def _look(self, meter: str) -> None:
        if meter not in self._displays:
            raise ScpiError(-224, f"there is no meter {meter} that a person can read")
        self._person.type_in(self._displays[meter]())

    def _remark(self) -> str:
        return '"' + self._person.state()[1].replace('"', '""') + '"'
