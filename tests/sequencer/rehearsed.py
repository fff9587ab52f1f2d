"""A profile rehearsed on the nominal unit, and what its evidence amounts to."""

from sequencer.documents.load import Documents
from sequencer.judging import Judged, judge_evidence, planned_trials
from sequencer.run.loop import perform
from sequencer.run.rehearsal import Rehearsal
from sequencer.trials.trial import Context


def rehearse(documents: Documents) -> tuple[tuple[Rehearsal, ...], Judged]:
    """Rehearse each trial from the start, and judge them all together."""
    context = Context(documents.unit, documents.bench)
    rehearsals = []
    for trial, settings in planned_trials(documents):
        rehearsal = Rehearsal(documents.unit, documents.bench)
        perform(trial.procedure(settings, context), rehearsal)
        rehearsals.append(rehearsal)
    return tuple(rehearsals), judge_evidence(documents, [one.steps for one in rehearsals])
