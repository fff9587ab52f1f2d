"""Reading channels together: ask every instrument, then collect in turn, without threads.

Slow instruments so work at the same time, and a tick costs the slowest of them. Channels of one
instrument can't overlap: they share a message where the instrument takes several questions in
one, and go in rounds where it doesn't. Behind a scanner each input is a round of its own, so that
it is visited once. What to send is worked out once per set of channels.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from drivers.answers import Parser
from drivers.channels import asking
from drivers.clock import MonotonicClock, TimeBaseClock
from drivers.errors import LINK_FAILURES, InstrumentError
from drivers.instrument import Asking, Instrument, compound
from drivers.roles import ChannelSpec, Flag, Reading
from drivers.routing import Prepare, Visit
from drivers.session import EventSink, Session


@dataclass(frozen=True, slots=True)
class Part:
    """One answer of a message: whose reading it is, where that goes, and how to read it."""

    index: int
    channel: ChannelSpec
    parse: Parser


@dataclass(frozen=True, slots=True)
class Step:
    """One message of a round and what its answers are."""

    instrument: Instrument
    session: Session
    message: bytes
    timeout_s: float
    parts: tuple[Part, ...]
    split: bool
    prepare: Prepare | None = None


Round = tuple[Step, ...]
Taken = tuple[Part, float, Flag, str, float, float]
"""Value in the instrument's unit, flag, raw text, asked at, answered at."""


def plan(
    names: Sequence[str],
    channels: Mapping[str, ChannelSpec],
    instruments: Mapping[str, Instrument],
    visits: Mapping[str, Visit],
) -> tuple[Round, ...]:
    """Distribute channels over rounds, each instrument at most once in each.

    `visits` holds what comes before a channel that is behind a scanner. Instruments that can't be
    left alone between question and answer come last in a round.
    """
    questions: dict[str, list[tuple[Part, Asking]]] = {}
    for index, name in enumerate(names):
        channel = channels[name]
        if channel.through is not None and name not in visits:
            raise KeyError(channel.through)  # what is not routed must not be read as if it were
        question = asking(instruments[channel.instrument], channel)
        part = Part(index, channel, question.parse)
        questions.setdefault(channel.instrument, []).append((part, question))
    rounds: list[list[Step]] = []
    for name, asked in questions.items():
        instrument = instruments[name]
        routed = any(part.channel.name in visits for part, _ in asked)
        as_one = instrument.dialect.link.compound and not routed
        together = [asked] if as_one else [[one] for one in asked]
        for number, group in enumerate(together):
            if number == len(rounds):
                rounds.append([])
            rounds[number].append(_step(instrument, group, visits))
    return tuple(tuple(sorted(steps, key=lambda step: not step.split)) for steps in rounds)


def _step(
    instrument: Instrument, group: Sequence[tuple[Part, Asking]], visits: Mapping[str, Visit]
) -> Step:
    texts = [question.text for _, question in group]
    text = texts[0] if len(texts) == 1 else compound(texts)
    visit = visits.get(group[0][0].channel.name)
    return Step(
        instrument=instrument,
        session=instrument.session,
        message=instrument.session.encode(text),
        timeout_s=sum(question.timeout_s for _, question in group),
        parts=tuple(part for part, _ in group),
        split=instrument.dialect.link.split_read,
        prepare=None if visit is None else visit.prepare,
    )


def read_rounds(
    rounds: Sequence[Round], clock: MonotonicClock | TimeBaseClock, on_event: EventSink
) -> tuple[Reading, ...]:
    """Carry out a plan and return its readings in the order of the names.

    On a table each reading has its own times. A simulated bench's time stands still while its
    instruments work, so there the clock is asked once, after the last answer.

    Raises
    ------
    InstrumentError
        When an instrument failed twice; the answers of the others were collected all the same,
        so that none of them is left waiting for the next question.
    """
    taken: list[Taken] = []
    for steps in rounds:
        _one_round(steps, clock, on_event, taken)
    end = None if clock.runs_by_itself else clock.now()
    readings: list[Reading | None] = [None] * len(taken)
    for part, value, flag, raw, asked_at, answered_at in taken:
        readings[part.index] = Reading(
            part.channel.name,
            value * part.channel.scale,
            raw,
            asked_at,
            answered_at if end is None else end,
            flag,
        )
    return tuple(readings)  # type: ignore[arg-type]  # every part was taken, or an error raised


def _one_round(
    steps: Round,
    clock: MonotonicClock | TimeBaseClock,
    on_event: EventSink,
    taken: list[Taken],
) -> None:
    waiting: list[tuple[Step, float]] = []
    failed: list[tuple[Step, InstrumentError]] = []
    settling_s = max((step.prepare() for step in steps if step.prepare is not None), default=0.0)
    if settling_s > 0.0:
        clock.sleep_until(clock.now() + settling_s)
    for step in steps:
        try:
            at = clock.stamp()
            step.session.ask(step.message)
            if step.split:
                waiting.append((step, at))
            else:
                _collect(step, at, clock, taken)
        except InstrumentError as error:
            failed.append((step, error))
    for step, at in waiting:
        try:
            _collect(step, at, clock, taken)
        except InstrumentError as error:
            failed.append((step, error))
    for step, failure in failed:
        # Again over a new link, where the first failure was the link's.
        if not isinstance(failure, LINK_FAILURES):
            raise failure
        step.instrument.patience.again(
            step.instrument, partial(_ask_and_collect, step, clock, taken), failure, on_event
        )


def _ask_and_collect(step: Step, clock: MonotonicClock | TimeBaseClock, taken: list[Taken]) -> None:
    at = clock.stamp()
    step.session.ask(step.message)
    _collect(step, at, clock, taken)


def _collect(
    step: Step, asked_at: float, clock: MonotonicClock | TimeBaseClock, taken: list[Taken]
) -> None:
    """Collect the answers of a message; takes all of them or none."""
    answer = step.session.collect(step.timeout_s)
    answered_at = clock.stamp()
    parts = step.parts
    raws = [answer] if len(parts) == 1 else answer.split(b";")
    if len(raws) != len(parts):
        raise step.session.damaged(step.message, answer, f"{len(parts)} answers were expected")
    found: list[Taken] = []
    for part, raw in zip(parts, raws, strict=True):
        try:
            value, flag = part.parse(raw)
        except ValueError as error:
            raise step.instrument.unreadable(step.message, answer, error) from error
        found.append((part, value, flag, raw.decode("latin-1"), asked_at, answered_at))
    taken.extend(found)
