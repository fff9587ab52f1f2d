"""Open a bench: every instrument reached, identified and set up, or everything closed again."""

import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, TextIO

from drivers.bench import OpenBench
from drivers.channels import configure, prove
from drivers.dialect import Dialect
from drivers.dialect_files import DialectMistake, adapted, load_dialect, read_dialect
from drivers.errors import InstrumentError, UnknownDialect
from drivers.instrument import Instrument
from drivers.link import resource_manager
from drivers.operator import InstrumentOperator, TerminalOperator
from drivers.patience import Patience
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec, Operator
from drivers.session import EventSink, Session
from drivers.trace import Trace

SINGLE_ROLES = frozenset({"load", "supply", "line_source", "time_base", "person"})
"""Roles that a bench has once: the requests of a trial don't say which one they mean."""


def connect(
    spec: BenchSpec,
    *,
    on_event: EventSink,
    prompt: TextIO | None = None,
    answers: TextIO | None = None,
    bench_time_s: float = 0.0,
    trace: Path | None = None,
) -> OpenBench:
    """Open a bench; nothing on it is energised or switched by that.

    Dialects and channels are checked before the first connection is made. Then every instrument
    is opened and identified, its error queue emptied (what stood there goes to `on_event`), and
    the ranges and integration times of its channels are set and read back. `prompt` and `answers`
    are the streams of a person at the terminal; standard error and input by default. Bench time
    begins at `bench_time_s`, where no time base says otherwise. With `trace`, a file that must not
    exist yet, every message is written down there (`drivers.trace`).

    Raises
    ------
    InstrumentError
        Any of its kinds; whatever had been opened is closed.
    OSError
        When the trace can't be written.
    """
    _refuse_doubles(spec)
    patience = Patience()
    written = None if trace is None else Trace(trace, lambda text: on_event("trace", text))
    instruments = {
        i.name: _prepared(i, spec, on_event, patience, written) for i in spec.instruments
    }
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
            patience,
            bench_time_s,
            written,
        )
    except BaseException:
        for instrument in instruments.values():
            instrument.session.close()
        raise


def connect_reachable(
    spec: BenchSpec, *, on_event: EventSink, prompt: TextIO, answers: TextIO
) -> tuple[OpenBench, tuple[InstrumentError, ...]]:
    """Open what can be reached of a bench, for making it safe; the rest is left out and told.

    An instrument that can't be set up for reading is kept, as it can still be switched off.

    Raises
    ------
    InstrumentError
        When the documents themselves can't be used: nothing was opened then.
    """
    _refuse_doubles(spec)
    patience = Patience()
    instruments = {i.name: _prepared(i, spec, on_event, patience) for i in spec.instruments}
    by_instrument = _channels_by_instrument(spec, instruments)
    failures: list[InstrumentError] = []
    there: dict[str, Instrument] = {}
    for name, instrument in instruments.items():
        try:
            instrument.session.open()
            there[name] = instrument
            configure(instrument, by_instrument[name])
        except InstrumentError as error:
            failures.append(error)
    try:
        operator = _operator(spec, there, prompt, answers)
    except InstrumentError as error:
        failures.append(error)
        operator = None
    try:
        return OpenBench(spec, there, operator, on_event, patience), tuple(failures)
    except InstrumentError as error:  # the time base is there, but does not tell the time
        failures.append(error)
        rest = {n: i for n, i in there.items() if i.session.spec.role != "time_base"}
        return OpenBench(spec, rest, operator, on_event, patience), tuple(failures)


def load_backend() -> None:
    """Load the VISA library beforehand, for whoever will have to be quick."""
    import pyvisa_py  # noqa: F401, PLC0415

    resource_manager("@py")


def slowest_query_s(spec: BenchSpec) -> float:
    """Return how long the slowest question of a bench may take, by its document and dialects.

    Raises
    ------
    UnknownDialect
        When a dialect can't be used.
    """
    found = [one.timeout_s for one in spec.instruments]
    for one in spec.instruments:
        dialect = load_dialect(one.dialect, one.name, one.address)
        found += (question.timeout or 0.0 for question in dialect.questions.values())
    return max(found, default=0.0)


def spec_faults(spec: BenchSpec) -> tuple[InstrumentError, ...]:
    """Return what is wrong with a bench's instruments, dialects and channels; nothing is opened.

    One fault an instrument: what its dialect can't be used for, or what it lacks for a channel.
    """
    faults: list[InstrumentError] = []
    roles = {one.name: one.role for one in spec.instruments}
    for one in spec.instruments:
        channels = tuple(c for c in spec.channels if c.instrument == one.name)
        alone = BenchSpec((one,), channels, options=spec.options)
        try:
            instrument = _prepared(one, alone, lambda _kind, _text: None, Patience())
            _channels_by_instrument(alone, {one.name: instrument}, roles)
        except InstrumentError as error:
            faults.append(error)
    return tuple(faults)


def modes_lacking(name: str, modes: Iterable[str]) -> tuple[str, ...]:
    """Return the load modes (`drivers.roles.LoadMode`) for which a dialect has no level.

    A dialect that can't be used lacks none: what is wrong with it is told by `dialect_fault`.
    """
    try:
        dialect = read_dialect(name)
    except DialectMistake:
        return ()
    return tuple(mode for mode in modes if f"level_{mode}" not in dialect.settings)


def dialect_fault(path: str, role: str | None = None) -> tuple[str, str] | None:
    """Return what is wrong with a dialect, or with it in a role, and the remedy; None for nothing.

    `path` may be a shipped name, too.
    """
    try:
        dialect = read_dialect(path)
    except DialectMistake as mistake:
        return mistake.found, mistake.remedy
    return None if role is None or role in dialect.roles else _not_for(path, dialect, role)


def _not_for(name: str, dialect: Dialect, role: str) -> tuple[str, str]:
    found = f"dialect {name!r} is for {', '.join(dialect.roles)}, not for {role!r}"
    return found, "Correct the role or the dialect in the bench document."


def dialect_schema() -> dict[str, Any]:
    """Return the JSON Schema of a dialect file, with what only a file has."""
    schema = Dialect.model_json_schema()
    schema["properties"] |= {
        "inherits": {"type": "string", "description": "another dialect, laid below this file"},
        "without": {
            "type": "array",
            "items": {"type": "string"},
            "description": "key paths of what of it is left out",
        },
    }
    schema["required"] = []  # what is inherited need not be repeated
    return {"$schema": "https://json-schema.org/draft/2020-12/schema"} | schema


def _refuse_doubles(spec: BenchSpec) -> None:
    """Refuse two sessions to one instrument, and two instruments for a role that is one."""
    by_address: dict[str, str] = {}
    by_role: dict[str, str] = {}
    for one in spec.instruments:
        other = by_address.setdefault(one.address, one.name)
        if other != one.name:
            found, remedy = f"{other} has the same address", "Give both one name in the bench."
        elif one.role in SINGLE_ROLES and by_role.setdefault(one.role, one.name) != one.name:
            found = f"{by_role[one.role]} has the role {one.role!r} already"
            remedy = "Leave one of them out of the bench document."
        else:
            continue
        raise InstrumentError(instrument=one.name, address=one.address, found=found, remedy=remedy)


def _prepared(
    spec: InstrumentSpec,
    bench: BenchSpec,
    on_event: EventSink,
    patience: Patience,
    trace: Trace | None = None,
) -> Instrument:
    dialect = adapted(load_dialect(spec.dialect, spec.name, spec.address), spec.link)
    if spec.role not in dialect.roles:
        found, remedy = _not_for(spec.dialect, dialect, spec.role)
        raise UnknownDialect(instrument=spec.name, address=spec.address, found=found, remedy=remedy)
    session = Session(
        spec,
        identify=dialect.identify,
        manners=dialect.link,
        backend=bench.options.get("backend", "@py"),
        on_event=on_event,
        trace=trace,
    )
    return Instrument(session, dialect, on_event, patience)


def _channels_by_instrument(
    spec: BenchSpec, instruments: Mapping[str, Instrument], roles: Mapping[str, str] | None = None
) -> dict[str, list[ChannelSpec]]:
    """Group channels and prove that the dialects can ask and set everything they need."""
    groups: dict[str, list[ChannelSpec]] = {name: [] for name in instruments}
    roles = {one.name: one.role for one in spec.instruments} if roles is None else roles
    for channel in spec.channels:
        if channel.instrument not in instruments:
            raise InstrumentError(
                instrument=channel.instrument,
                address="",
                found=f"channel {channel.name} names it, but the bench has no such instrument",
                remedy=f"The bench has: {', '.join(instruments)}.",
            )
        groups[channel.instrument].append(channel)
    for name, group in groups.items():
        prove(instruments[name], group, roles)
    return groups


def _operator(
    spec: BenchSpec, instruments: Mapping[str, Instrument], prompt: TextIO, answers: TextIO
) -> Operator | None:
    match spec.operator:
        case "none":
            return None
        case "terminal":
            return TerminalOperator(
                prompt, answers, {**{c.name: c.unit for c in spec.channels}, **spec.typed}
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
