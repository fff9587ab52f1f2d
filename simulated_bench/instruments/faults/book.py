"""All faults of one bench: put in, begun, ended, and remembered with bench time.

Those of instruments and links are carried out where they are met (`effects`, `link`), those of the
unit and the room by the world.
"""

from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Final, NamedTuple

from simulated_bench.draw import Draws
from simulated_bench.instruments.faults.entries import FaultEntry, read_entry
from simulated_bench.instruments.faults.fault import Fault
from simulated_bench.instruments.timing import BenchTime
from simulated_bench.mishaps import drawn_one
from simulated_bench.scenario_faults import UnitFaultTable

MOST_REMEMBERED: Final = 1000
"""Older entries of the log are forgotten, so that a week of faults stays small."""

MOST_FAULTS: Final = 200


class Happened(NamedTuple):
    """Something that a fault did."""

    time_s: float
    instrument: str
    what: str
    text: str


@dataclass(slots=True)
class Afflicted:
    """One instrument's faults, and who has to know when they change."""

    faults: list[Fault] = field(default_factory=list)
    sudden: dict[str, Callable[[], None]] = field(default_factory=dict)
    """What carries a sudden fault out, by its name."""
    watchers: list[Callable[[], None]] = field(default_factory=list)

    @property
    def armed(self) -> bool:
        """Whether any fault waits or is active."""
        return any(fault.state != "over" for fault in self.faults)

    def active(self, kinds: frozenset[str]) -> Fault | None:
        """Return the first active fault of some kinds."""
        for fault in self.faults:
            if fault.state == "active" and fault.entry.what in kinds:
                return fault
        return None

    def changed(self) -> None:
        """Tell the watchers."""
        for watch in self.watchers:
            watch()


class FaultBook:
    """Every fault of one bench.

    Parameters
    ----------
    time
        The bench's time; a fault given by time begins at that moment.
    draws
        Each fault given by a probability draws from a generator of its own.
    """

    def __init__(self, time: BenchTime, draws: Draws) -> None:
        self.log: deque[Happened] = deque(maxlen=MOST_REMEMBERED)
        self._time = time
        self._draws = draws
        self._afflicted: dict[str, Afflicted] = {}
        self._world_faults: list[Fault] = []
        """Of the unit and the room."""
        self._added = 0
        for fault in time.world.hand_over_faults():
            self.add(fault)

    @property
    def counts(self) -> bool:
        """Whether a fault of the unit or the room waits for queries to whatever instrument."""
        return any(fault.counts for fault in self._world_faults)

    @property
    def names(self) -> tuple[str, ...]:
        """The instruments that can have faults."""
        return tuple(self._afflicted)

    def of(self, instrument: str) -> Afflicted:
        """Return an instrument's faults."""
        return self._afflicted.setdefault(instrument, Afflicted())

    def faults(self) -> list[Fault]:
        """Return every fault that was put in and not cleared."""
        of_instruments = [fault for one in self._afflicted.values() for fault in one.faults]
        return self._world_faults + of_instruments

    def add_raw(self, raw: Mapping[str, Any]) -> None:
        """Put a fault in from a scenario's table; raises ValueError with every mistake."""
        self.add(read_entry(raw, self.names))

    def add(self, entry: FaultEntry | UnitFaultTable) -> None:
        """Put a fault in; quantities with a spread are drawn.

        Raises
        ------
        ValueError
            When there are too many.
        """
        if len(self.faults()) >= MOST_FAULTS:
            raise ValueError(f"found {MOST_FAULTS} faults already, clear them first")
        entry = drawn_one(entry, self._draws, f"faults.book.{self._added}")
        fault = Fault(entry, self._draws.generator(f"faults.{entry.instrument}", self._added))
        self._added += 1
        if isinstance(entry, UnitFaultTable):
            self._world_faults.append(fault)
        else:
            self.of(entry.instrument).faults.append(fault)
        if entry.at is not None:
            self._time.at(entry.at.nominal, partial(self._begin_if_kept, fault))
        self._changed(fault)

    def clear(self) -> None:
        """End every fault and forget it; the log stays, and so does what is broken."""
        counted = self.counts
        for fault in self._world_faults:
            if fault.state == "active":
                self._relieve(fault)
                self.remember(fault, "ends")
            fault.state = "over"
        self._world_faults.clear()
        if counted:
            self._all_changed()
        for afflicted in self._afflicted.values():
            for fault in afflicted.faults:
                if fault.state == "active":
                    self.remember(fault, "ends")
                fault.state = "over"
            if afflicted.faults:
                afflicted.faults.clear()
                afflicted.changed()

    def query(self, afflicted: Afflicted) -> None:
        """Count a query that comes to an instrument; begin what is due."""
        for fault in self._world_faults + afflicted.faults:
            if fault.due():
                self._begin(fault)

    def touch(self, fault: Fault, text: str) -> None:
        """Count and remember an occasion that a fault touched."""
        self.remember(fault, f"touches {text}")
        fault.touch()
        if fault.state != "active":
            self._over(fault)

    def remember(self, fault: Fault, text: str) -> None:
        """Write what a fault did into the log."""
        entry = fault.entry
        self.log.append(Happened(self._time.world.now, entry.instrument, entry.what, text))

    def _begin_if_kept(self, fault: Fault) -> None:
        if fault.state == "waiting":
            self._begin(fault)

    def _begin(self, fault: Fault) -> None:
        entry = fault.entry
        fault.begin()
        self.remember(fault, "begins")
        if isinstance(entry, UnitFaultTable):
            fault.struck = entry.dated(self._time.world.now)
            self._time.world.strike(fault.struck)
        elif entry.what in self.of(entry.instrument).sudden:
            self.of(entry.instrument).sudden[entry.what]()
        if entry.lasts is not None:
            until = self._time.world.now + entry.lasts.nominal
            self._time.at(until, partial(self._end, fault))
        self._changed(fault)

    def _end(self, fault: Fault) -> None:
        if fault.state == "active":
            fault.end()
            self._relieve(fault)
            self._over(fault)

    def _over(self, fault: Fault) -> None:
        self.remember(fault, "ends")
        self._changed(fault)

    def _relieve(self, fault: Fault) -> None:
        if fault.struck is not None:
            self._time.world.relieve(fault.struck)

    def _changed(self, fault: Fault) -> None:
        """Tell whoever has to know: all instruments where any of their queries may count."""
        if not isinstance(fault.entry, UnitFaultTable):
            self.of(fault.entry.instrument).changed()
        elif fault.entry.at is None:
            self._all_changed()

    def _all_changed(self) -> None:
        for afflicted in self._afflicted.values():
            afflicted.changed()
