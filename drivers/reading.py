"""Reading channels together: ask every instrument, then collect in turn, without threads.

Slow instruments so work at the same time, and a tick costs the slowest of them. Channels of one
instrument can't overlap and go in rounds. What to send is worked out once per set of channels.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from drivers.channels import asking
from drivers.clock import MonotonicClock, TimeBaseClock
from drivers.errors import LINK_FAILURES, InstrumentError
from drivers.instrument import Asking, Instrument
from drivers.roles import ChannelSpec, Flag, Reading
from drivers.session import EventSink, Session


@dataclass(frozen=True, slots=True)
class Step:
    """One question of a round: where its reading goes, whom to ask, what, how to read it."""

    index: int
    channel: ChannelSpec
    instrument: Instrument
    session: Session
    asking: Asking
    split: bool


Round = tuple[Step, ...]
Taken = tuple[float, Flag, str, float, float]
"""Value in the instrument's unit, flag, raw text, asked at, answered at."""


def plan(
    names: Sequence[str],
    channels: Mapping[str, ChannelSpec],
    instruments: Mapping[str, Instrument],
) -> tuple[Round, ...]:
    """Distribute channels over rounds, each instrument at most once in each.

    Instruments that can't be left alone between question and answer come last in a round.
    """
    rounds: list[list[Step]] = []
    for index, name in enumerate(names):
        channel = channels[name]
        instrument = instruments[channel.instrument]
        step = Step(
            index=index,
            channel=channel,
            instrument=instrument,
            session=instrument.session,
            asking=asking(instrument, channel),
            split=instrument.dialect.link.split_read,
        )
        for steps in rounds:
            if all(other.session is not step.session for other in steps):
                steps.append(step)
                break
        else:
            rounds.append([step])
    return tuple(tuple(sorted(steps, key=lambda step: not step.split)) for steps in rounds)


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
    taken: list[tuple[Step, Taken]] = []
    for steps in rounds:
        _one_round(steps, clock, on_event, taken)
    end = None if clock.runs_by_itself else clock.now()
    readings: list[Reading | None] = [None] * len(taken)
    for step, (value, flag, raw, asked_at, answered_at) in taken:
        readings[step.index] = Reading(
            step.channel.name,
            value * step.channel.scale,
            raw,
            asked_at,
            answered_at if end is None else end,
            flag,
        )
    return tuple(readings)  # type: ignore[arg-type]  # every step was taken, or an error raised


def _one_round(
    steps: Round,
    clock: MonotonicClock | TimeBaseClock,
    on_event: EventSink,
    taken: list[tuple[Step, Taken]],
) -> None:
    waiting: list[tuple[Step, float]] = []
    failed: list[tuple[Step, InstrumentError]] = []
    for step in steps:
        try:
            at = clock.stamp()
            step.session.ask(step.asking.message)
            if step.split:
                waiting.append((step, at))
            else:
                taken.append((step, _collect(step, at, clock)))
        except InstrumentError as error:
            failed.append((step, error))
    for step, at in waiting:
        try:
            taken.append((step, _collect(step, at, clock)))
        except InstrumentError as error:
            failed.append((step, error))
    for step, failure in failed:
        taken.append((step, _again(step, failure, clock, on_event)))


def _collect(step: Step, asked_at: float, clock: MonotonicClock | TimeBaseClock) -> Taken:
    asking = step.asking
    raw = step.session.collect(asking.timeout_s)
    answered_at = clock.stamp()
    try:
        value, flag = asking.parse(raw)
    except ValueError as error:
        raise step.instrument.unreadable(asking.message, raw, error) from error
    return value, flag, raw.decode("ascii"), asked_at, answered_at


def _again(
    step: Step,
    error: InstrumentError,
    clock: MonotonicClock | TimeBaseClock,
    on_event: EventSink,
) -> Taken:
    """Ask a second time over a new link, where the first failure was the link's."""
    if not isinstance(error, LINK_FAILURES):
        raise error
    on_event("asked again", str(error))
    at = clock.stamp()
    step.session.ask(step.asking.message)
    return _collect(step, at, clock)
