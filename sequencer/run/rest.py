"""What is left of a trial that a record holds in part: its requests, and how long they take."""

from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel

from sequencer.record.read import Step
from sequencer.requests import Apply, Note, Procedure, Read, Request
from sequencer.run.loop import perform
from sequencer.run.rehearsal import Rehearsal
from sequencer.run.replay import Replay
from sequencer.trials.steps import LOAD_OFF
from sequencer.trials.trial import Context, Trial


def rest_of(
    trial: Trial[Any], settings: BaseModel, context: Context, steps: Sequence[Step]
) -> tuple[Request, ...]:
    """Return the requests of a trial that the record doesn't answer, on a nominal unit.

    Raises
    ------
    RecordError
        When the record holds other requests than the procedure makes.
    """
    nominal, before = _rehearsed(trial, settings, context, steps)
    return tuple(step.request for step in nominal.steps[before:])


def rest_s(
    trial: Trial[Any], settings: BaseModel, context: Context, steps: Sequence[Step]
) -> float:
    """Return how long the rest of a trial takes; a Read that was cut off goes on where it was."""
    nominal, before = _rehearsed(trial, settings, context, steps)
    total_s = sum(step.duration_s for step in nominal.plan[before:])
    last = steps[-1] if steps else None
    if last is None or last.reply is not None or not isinstance(last.request, Read):
        return total_s
    there = min((values.size for values in last.readings.value.values()), default=0)
    return max(0.0, total_s - there * last.request.period_s)


def takes_s(context: Context, procedure: Procedure) -> float:
    """Return how long a procedure takes on a nominal unit whose knobs stand anywhere."""
    nominal = Rehearsal(context.unit, context.bench)
    perform(procedure, nominal)
    return nominal.now_s


def _rehearsed(
    trial: Trial[Any], settings: BaseModel, context: Context, steps: Sequence[Step]
) -> tuple[Rehearsal, int]:
    """Return a rehearsal of the whole trial, and how many of its steps the record answered."""
    nominal = Rehearsal(context.unit, context.bench)
    for step in steps:
        if isinstance(step.request, Apply):
            nominal.answer(step.request)
    before = len(nominal.steps)
    perform(trial.procedure(settings, context), Replay(steps, nominal))
    return nominal, before


def measures(request: Request) -> bool:
    """Return whether a request is more than switching off or a remark."""
    return not isinstance(request, Note) and request != Apply(LOAD_OFF)
