"""The unit's digital panel meters, read over a port of their own.

A person is asked to read them by ``OPERator:READ?`` of the person.
"""

from simulated_bench.instruments.more_tables import PanelTable
from simulated_bench.instruments.numbers import written
from simulated_bench.instruments.surroundings import Surroundings
from simulated_bench.scpi.commands import Command, Kind


class Panel:
    """Both meters."""

    def __init__(self, table: PanelTable, around: Surroundings) -> None:
        self._reading_s = table.reading.nominal
        self._around = around

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        question = Kind.QUESTION
        return (
            Command("MEASure[:SCALar]:VOLTage[:DC]?", self._voltage, (), question, "V"),
            Command("MEASure[:SCALar]:CURRent[:DC]?", self._current, (), question, "A"),
        )

    def reset(self) -> None:
        """Do nothing: there is nothing to set."""

    def _voltage(self) -> str:
        self._around.occupancy.spend(self._reading_s)
        return written(self._around.time.world.voltage("panel"))

    def _current(self) -> str:
        self._around.occupancy.spend(self._reading_s)
        return written(self._around.time.world.current("panel", self._reading_s))
