"""The person in front of the unit, spoken to as an instrument."""

from simulated_bench.instruments.timing import BenchTime
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.parameters import Boolean, Number, Text


class PersonInstrument:
    """Passes what is said on to the person."""

    def __init__(self, time: BenchTime) -> None:
        self._person = time.world.person

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        return (
            Command("OPERator:INSTruct", self._person.instruct, (Text(),)),
            Command("OPERator:SHOW", self._show, (Number(words=False), Boolean())),
            Command("OPERator:STATe?", lambda: self._person.state()[0], kind=Kind.QUESTION),
            Command("OPERator:REMark?", self._remark, kind=Kind.QUESTION),
            Command("OPERator:FINish", self._person.finish),
        )

    def reset(self) -> None:
        """Do nothing: a person can't be reset."""

    def _show(self, value: float, within: bool) -> None:  # a parameter's value
        self._person.show(value, within=within)

    def _remark(self) -> str:
        return '"' + self._person.state()[1].replace('"', '""') + '"'
