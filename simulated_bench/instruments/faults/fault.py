"""One fault's life: waiting, active for some occasions or some time, over."""

from typing import Literal

from numpy.random import Generator

from simulated_bench.instruments.faults.entries import STANDING, SUDDEN, FaultEntry
from simulated_bench.scenario_faults import UnitFaultTable

State = Literal["waiting", "active", "over"]


class Fault:
    """One fault of one instrument, or of the unit or the room.

    Parameters
    ----------
    entry
        When it begins and what it is.
    generator
        Decides where a probability is given.
    """

    def __init__(self, entry: FaultEntry | UnitFaultTable, generator: Generator) -> None:
        self.entry = entry
        self.generator = generator
        self.state: State = "waiting"
        self.struck: UnitFaultTable | None = None
        """What the world was told, with the time at which it began."""
        self._queries = 0
        self._left = 0

    @property
    def counts(self) -> bool:
        """Whether it waits for queries."""
        return self.state == "waiting" and self.entry.at is None

    def due(self) -> bool:
        """Count a query that comes; return whether the fault begins with it."""
        if self.state != "waiting":
            return False
        self._queries += 1
        if self.entry.probability is not None:
            return float(self.generator.random()) < self.entry.probability.nominal
        after = self.entry.after_queries
        return after is not None and self._queries > after

    @property
    def of_instrument(self) -> FaultEntry:
        """What was said about it; only an instrument's fault is asked for this."""
        assert isinstance(self.entry, FaultEntry)  # noqa: S101  # by what was asked for
        return self.entry

    def begin(self) -> None:
        """Become active; a sudden fault is over with that."""
        self._left = (isinstance(self.entry, FaultEntry) and self.entry.count) or 1
        if self.entry.what in SUDDEN:
            self.end()
        else:
            self.state = "active"

    def end(self) -> None:
        """Be over, or wait again where a probability is given."""
        self.state = "waiting" if self.entry.probability is not None else "over"

    def touch(self) -> None:
        """Count an occasion that an active fault touched."""
        if self.entry.lasts is None and self.entry.what not in STANDING:
            self._left -= 1
            if self._left == 0:
                self.end()
