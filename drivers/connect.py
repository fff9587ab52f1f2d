"""Open a bench: every instrument reached, identified and set up, or everything closed again."""

import sys
from collections.abc import Mapping, Sequence
from typing import TextIO

from drivers.channels import asking, changes, configure
from drivers.clock import MonotonicClock, TimeBaseClock
from drivers.dialect import load_dialect
from drivers.errors import InstrumentError, UnknownDialect
from drivers.instrument import Instrument
from drivers.load import ElectronicLoad
from drivers.operator import InstrumentOperator, TerminalOperator
from drivers.reading import Round, plan, read_rounds
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec, Operator, Reading
from drivers.session import EventSink, Session
from drivers.supply import RemoteSupply


class OpenBench:
    """Everything on the table, opened; see `drivers.roles.Bench`."""

    def __init__(
        self,
        spec: BenchSpec,
        instruments: Mapping[str, Instrument],
        operator: Operator | None,
        on_event: EventSink,
    ) -> None:
        roles = {i.session.spec.role: i for i in instruments.values()}
        self.clock = TimeBaseClock(roles["time_base"]) if "time_base" in roles else MonotonicClock()
        self.load = ElectronicLoad(roles["load"]) if "load" in roles else None
        self.supply = RemoteSupply(roles["supply"]) if "supply" in roles else None
        self.operator = operator
        self._instruments = instruments
        self._channels = {channel.name: channel for channel in spec.channels}
        self._plans: dict[tuple[str, ...], tuple[Round, ...]] = {}
        self._on_event = on_event

    def identities(self) -> Mapping[str, str]:
        """Return each instrument's answer to *IDN?, by instrument name."""
        return {name: i.session.identity for name, i in self._instruments.items()}

    def read(self, channels: Sequence[str]) -> tuple[Reading, ...]:
        """Read channels together: ask every instrument first, then collect in turn.

        Raises
        ------
        InstrumentError
            When an instrument failed, was given a new link, and failed again.
        KeyError
            When the bench document has no such channel.
        """
        names = tuple(channels)
        rounds = self._plans.get(names)
        if rounds is None:
            rounds = self._plans[names] = plan(names, self._channels, self._instruments)
        return read_rounds(rounds, self.clock, self._on_event)

    def check_errors(self) -> tuple[str, ...]:
        """Empty every error queue; return what stood there as `instrument: number, text`.

        A load that is off though it was switched on stands there as well.
        """
        found: list[str] = []
        for instrument in self._instruments.values():
            found.extend(instrument.once_more(instrument.errors))
        if self.load is not None:
            found.extend(self.load.complaints())
        return tuple(found)

    def close(self) -> None:
        """Close every session; never raises."""
        for instrument in self._instruments.values():
            instrument.session.close()


def connect(
    spec: BenchSpec,
    *,
    on_event: EventSink,
    prompt: TextIO | None = None,
    answers: TextIO | None = None,
) -> OpenBench:
    """Open a bench; nothing on it is energised or switched by that.

    Dialects and channels are checked before the first connection is made. Then every instrument
    is opened and identified, its error queue emptied (what stood there goes to `on_event`), and
    the ranges and integration times of its channels are set and read back. `prompt` and `answers`
    are the streams of a person at the terminal; standard error and input by default.

    Raises
    ------
    InstrumentError
        Any of its kinds; whatever had been opened is closed.
    """
    instruments = {i.name: _prepared(i, spec, on_event) for i in spec.instruments}
    by_instrument = _channels_by_instrument(spec, instruments)
    try:
        for name, instrument in instruments.items():
            instrument.session.open()
            for error in instrument.errors():
                on_event("error queue", f"at the start: {error}")
            configure(instrument, by_instrument[name])
        return OpenBench(
            spec,
            instruments,
            _operator(spec, instruments, prompt or sys.stderr, answers or sys.stdin),
            on_event,
        )
    except BaseException:
        for instrument in instruments.values():
            instrument.session.close()
        raise


def _prepared(spec: InstrumentSpec, bench: BenchSpec, on_event: EventSink) -> Instrument:
    dialect = load_dialect(spec.dialect, spec.name, spec.address)
    if spec.role not in dialect.roles:
        raise UnknownDialect(
            instrument=spec.name,
            address=spec.address,
            found=f"dialect {spec.dialect!r} is for {', '.join(dialect.roles)}, "
            f"not for {spec.role!r}",
            remedy="Correct the role or the dialect in the bench document.",
        )
    session = Session(
        spec,
        identify=dialect.identify,
        read_terminator=dialect.link.read_terminator,
        write_terminator=dialect.link.write_terminator,
        backend=bench.options.get("backend", "@py"),
        on_event=on_event,
    )
    return Instrument(session, dialect, on_event)


def _channels_by_instrument(
    spec: BenchSpec, instruments: Mapping[str, Instrument]
) -> dict[str, list[ChannelSpec]]:
    """Group channels and prove that the dialects can ask and set everything they need."""
    groups: dict[str, list[ChannelSpec]] = {name: [] for name in instruments}
    for channel in spec.channels:
        if channel.instrument not in instruments:
            raise InstrumentError(
                instrument=channel.instrument,
                address="",
                found=f"channel {channel.name} names it, but the bench has no such instrument",
                remedy=f"The bench has: {', '.join(instruments)}.",
            )
        asking(instruments[channel.instrument], channel)
        groups[channel.instrument].append(channel)
    for name, group in groups.items():
        changes(instruments[name], group)
    return groups


def _operator(
    spec: BenchSpec, instruments: Mapping[str, Instrument], prompt: TextIO, answers: TextIO
) -> Operator | None:
    match spec.operator:
        case "none":
            return None
        case "terminal":
            return TerminalOperator(
                prompt, answers, {channel.name: channel.unit for channel in spec.channels}
            )
        case "instrument":
            for instrument in instruments.values():
                if instrument.session.spec.role == "person":
                    return InstrumentOperator(instrument)
    raise InstrumentError(
        instrument="operator",
        address="",
        found='operator = "instrument", but no instrument has the role "person"',
        remedy="Add the instrument to the bench document, or choose another operator.",
    )
