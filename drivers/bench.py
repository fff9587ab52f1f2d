"""A bench that is open: its clock, its roles, and channels read together."""

from collections.abc import Mapping, Sequence

from drivers.channels import range_in_use, visits_of
from drivers.clock import MonotonicClock, TimeBaseClock
from drivers.instrument import Instrument
from drivers.line_source import RemoteLineSource
from drivers.load import ElectronicLoad
from drivers.patience import Patience, Watcher
from drivers.reading import Round, plan, read_rounds
from drivers.roles import (
    BenchSpec,
    Clock,
    LineSource,
    Load,
    Operator,
    Reading,
    Supply,
    Switch,
)
from drivers.routing import RelaySwitch
from drivers.session import EventSink
from drivers.supply import RemoteSupply
from drivers.thermocouple import referenced
from drivers.trace import Trace


class OpenBench:
    """Everything on the table, opened; see `drivers.roles.Bench`."""

    def __init__(
        self,
        spec: BenchSpec,
        instruments: Mapping[str, Instrument],
        operator: Operator | None,
        on_event: EventSink,
        patience: Patience | None = None,
        bench_time_s: float = 0.0,
        trace: Trace | None = None,
    ) -> None:
        roles = {i.session.spec.role: i for i in instruments.values()}
        self._clock = (
            TimeBaseClock(roles["time_base"])
            if "time_base" in roles
            else MonotonicClock(bench_time_s)
        )
        self._load = ElectronicLoad(roles["load"]) if "load" in roles else None
        self.clock: Clock = self._clock
        self.load: Load | None = self._load
        self.supply: Supply | None = RemoteSupply(roles["supply"]) if "supply" in roles else None
        self.line_source: LineSource | None = (
            RemoteLineSource(roles["line_source"]) if "line_source" in roles else None
        )
        self.switches: Mapping[str, Switch] = {
            name: RelaySwitch(i)
            for name, i in instruments.items()
            if i.session.spec.role == "switch"
        }
        self.operator: Operator | None = operator
        self._trace = trace
        self._instruments = instruments
        self._channels = {channel.name: channel for channel in spec.channels}
        self._visits = visits_of(spec.channels, instruments)
        self._references = {
            channel.name: instruments[channel.instrument].question(channel.function).convert or ""
            for channel in spec.channels
            if channel.reference is not None and channel.instrument in instruments
        }
        self._plans: dict[tuple[str, ...], tuple[Round, ...]] = {}
        self._on_event = on_event
        self._patience = patience or Patience()
        self._patience.clock = self._clock
        self._patience.reachable = self._reachable

    def watch_with(self, watcher: Watcher | None) -> None:
        """Let `watcher` look at the guards before anything is tried again; None ends that.

        The watcher is called with a function that leaves out channels of lost instruments. While
        there is one, a lost instrument is tried again with growing waits, else only once.
        """
        self._patience.watcher = watcher

    def _reachable(self, channels: Sequence[str]) -> tuple[str, ...]:
        lost = self._patience.lost
        found = (self._channels[name] for name in channels)
        return tuple(c.name for c in found if not {c.instrument, c.through} & lost)

    def identities(self) -> Mapping[str, str]:
        """Return each instrument's answer to *IDN?, by instrument name."""
        return {name: i.session.identity for name, i in self._instruments.items()}

    def ranges(self) -> Mapping[str, float]:
        """Return by channel the range in use where it is not the one asked for."""
        found: dict[str, float] = {}
        for name, channel in self._channels.items():
            instrument = self._instruments.get(channel.instrument)
            in_use = None if instrument is None else range_in_use(instrument, channel)
            if in_use is not None:
                found[name] = in_use
        return found

    def read(self, channels: Sequence[str]) -> tuple[Reading, ...]:
        """Read channels together: ask every instrument first, then collect in turn.

        Raises
        ------
        InstrumentError
            When an instrument failed, was given a new link, and failed again.
        KeyError
            When the bench document has no such channel.
        """
        asked = tuple(channels)
        names = self._with_references(asked)
        rounds = self._plans.get(names)
        if rounds is None:
            rounds = self._plans[names] = plan(
                names, self._channels, self._instruments, self._visits
            )
        readings = read_rounds(rounds, self._clock, self._on_event)
        return self._referenced(readings)[: len(asked)] if self._references else readings

    def _with_references(self, names: tuple[str, ...]) -> tuple[str, ...]:
        """Return names with those of the terminals' temperatures that they need, once each."""
        if not self._references:
            return names
        needed = (self._channels[name].reference for name in names)
        return tuple(dict.fromkeys((*names, *(one for one in needed if one is not None))))

    def _referenced(self, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """Return readings with thermocouples' volts turned into temperatures."""
        known = {one.channel: one for one in readings}
        return tuple(
            referenced(self._references[one.channel], one, known[reference])
            if (reference := self._channels[one.channel].reference) is not None
            else one
            for one in readings
        )

    def check_errors(self) -> tuple[str, ...]:
        """Empty every error queue; return what stood there as `instrument: number, text`.

        A load that is off though it was switched on stands there as well.
        """
        found: list[str] = []
        for instrument in self._instruments.values():
            found.extend(instrument.once_more(instrument.errors))
        if self._load is not None:
            found.extend(self._load.complaints())
        return tuple(found)

    def close(self) -> None:
        """Close every session; never raises."""
        for instrument in self._instruments.values():
            instrument.session.close()
        if self._trace is not None:
            self._trace.close()
