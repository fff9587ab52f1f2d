"""All faults of one bench: put in, begun, ended, and remembered with bench time."""

from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Final, NamedTuple

from simulated_bench.draw import Draws
from simulated_bench.instruments.faults.entries import FaultEntry, read_entry
from simulated_bench.instruments.faults.fault import Fault
from simulated_bench.instruments.timing import BenchTime

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
        self._added = 0

    @property
    def names(self) -> tuple[str, ...]:
        """The instruments that can have faults."""
        return tuple(self._afflicted)

    def of(self, instrument: str) -> Afflicted:
        """Return an instrument's faults."""
        return self._afflicted.setdefault(instrument, Afflicted())

    def faults(self) -> list[Fault]:
        """Return every fault that was put in and not cleared."""
        return [fault for afflicted in self._afflicted.values() for fault in afflicted.faults]

    def add_raw(self, raw: Mapping[str, Any]) -> None:
        """Put a fault in from a scenario's table; raises ValueError with every mistake."""
        self.add(read_entry(raw, self.names))

    def add(self, entry: FaultEntry) -> None:
        """Put a fault in.

        Raises
        ------
        ValueError
            When there are too many.
        """
        if len(self.faults()) >= MOST_FAULTS:
            raise ValueError(f"found {MOST_FAULTS} faults already, clear them first")
        fault = Fault(entry, self._draws.generator(f"faults.{entry.instrument}", self._added))
        self._added += 1
        afflicted = self.of(entry.instrument)
        afflicted.faults.append(fault)
        if entry.at is not None:
            self._time.at(entry.at.nominal, partial(self._begin_if_kept, fault))
        afflicted.changed()

    def clear(self) -> None:
        """End every fault and forget it; the log stays."""
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
        for fault in list(afflicted.faults):
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
        afflicted = self.of(entry.instrument)
        fault.begin()
        self.remember(fault, "begins")
        if entry.what in afflicted.sudden:
            afflicted.sudden[entry.what]()
        if entry.lasts is not None:
            until = self._time.world.now + entry.lasts.nominal
            self._time.at(until, partial(self._end, fault))
        afflicted.changed()

    def _end(self, fault: Fault) -> None:
        if fault.state == "active":
            fault.end()
            self._over(fault)

    def _over(self, fault: Fault) -> None:
        self.remember(fault, "ends")
        self.of(fault.entry.instrument).changed()
