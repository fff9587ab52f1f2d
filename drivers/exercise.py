"""Try a dialect's whole command set on an instrument, with everything that gives energy off.

A load's input and a supply's output are switched off first; they are never switched on. Each
setting is read, set to what it is already, and read back, so that the instrument is left as it was
found. What can't be put back, acts by itself or needs a channel's input is not tried, and said.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from math import isfinite
from typing import Literal

from drivers.dialect import Dialect, placeholders
from drivers.dialect_files import adapted, load_dialect
from drivers.errors import InstrumentError
from drivers.instrument import Instrument
from drivers.roles import InstrumentSpec
from drivers.session import EventSink, Session
from drivers.settings import Change, change, read_back

Outcome = Literal["worked", "failed", "not tried"]

SWITCHES = ("input", "output")
"""Settings that let energy flow."""


@dataclass(frozen=True, slots=True)
class Tried:
    """One operation of a dialect on an instrument: what was sent, what came of it."""

    operation: str
    message: str
    outcome: Outcome
    remark: str


def exercise(
    spec: InstrumentSpec,
    *,
    backend: str = "@py",
    on_event: EventSink = lambda _kind, _text: None,
) -> Iterator[Tried]:
    """Yield what came of each operation, one after the other.

    Raises
    ------
    UnknownDialect
        When the dialect can't be used.
    """
    dialect = adapted(load_dialect(spec.dialect, spec.name, spec.address), spec.link)
    session = Session(
        spec, identify=dialect.identify, manners=dialect.link, backend=backend, on_event=on_event
    )
    instrument = Instrument(session, dialect, on_event)
    try:
        yield from _whole(instrument, dialect)
    finally:
        session.close()


def _whole(instrument: Instrument, dialect: Dialect) -> Iterator[Tried]:
    first = _tried("identity", dialect.identify, partial(_identity, instrument))
    yield first
    if first.outcome == "failed":
        return
    if dialect.errors is None:
        yield Tried("error queue", "", "not tried", "the dialect has none")
    else:
        yield _tried("error queue", dialect.errors.ask, partial(_queue, instrument))
    for name in SWITCHES:
        if name not in dialect.settings:
            continue
        off = _tried(f"{name} off", dialect.settings[name].write, partial(_off, instrument, name))
        yield off
        if off.outcome == "failed":
            yield Tried("everything else", "", "not tried", f"{name} is not known to be off")
            return
    yield from _operations(instrument, dialect)
    if dialect.errors is not None:
        yield _tried("error queue at the end", dialect.errors.ask, partial(_empty, instrument))


def _operations(instrument: Instrument, dialect: Dialect) -> Iterator[Tried]:
    for name, setting in dialect.settings.items():
        if name not in SWITCHES:
            yield _setting(instrument, name, setting.write)
    for name, question in dialect.questions.items():
        if placeholders(question.ask):
            remark = "it needs a value or an input that a channel gives"
            yield Tried(name, question.ask, "not tried", remark)
        else:
            yield _tried(name, question.ask, partial(_answer, instrument, name))
    for name, message in dialect.actions.items():
        yield Tried(name, message, "not tried", "it acts by itself")


def _identity(instrument: Instrument) -> str:
    instrument.session.open()
    return instrument.session.identity


def _setting(instrument: Instrument, name: str, message: str) -> Tried:
    if instrument.dialect.settings[name].read_back is None:
        return Tried(name, message, "not tried", "it has no read-back, so it can't be put back")
    if "input" in placeholders(message):
        return Tried(name, message, "not tried", "it needs an input that a channel gives")

    def same_again() -> str:
        value = read_back(instrument, name)
        if isinstance(value, float) and not isfinite(value):
            raise instrument.lacks(f"finite value of {name!r}", instrument.dialect.settings)
        return f"{change(instrument, (Change(name, value),))[name]}"

    return _tried(name, message, same_again)


def _tried(operation: str, message: str, act: Callable[[], str]) -> Tried:
    try:
        return Tried(operation, message, "worked", act())
    except InstrumentError as error:
        return Tried(operation, message, "failed", str(error))


def _off(instrument: Instrument, name: str) -> str:
    change(instrument, (Change(name, "off"),))
    if instrument.setting(name).read_back is None:
        return "sent; the dialect has no read-back that would confirm it"
    return "confirmed"


def _answer(instrument: Instrument, name: str) -> str:
    if instrument.question(name).tokens:
        return instrument.word(name)
    return f"{instrument.number(instrument.asking(name)):.9g}"


def _queue(instrument: Instrument) -> str:
    return "; ".join(instrument.errors()) or "empty"


def _empty(instrument: Instrument) -> str:
    left = instrument.errors()
    if left:
        raise instrument.session.error(
            InstrumentError,
            "something above left errors in its queue: " + "; ".join(left),
            None,
            None,
            "The dialect does not fit the instrument in every point.",
        )
    return "empty"
