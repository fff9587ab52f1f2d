"""Replaying: the same procedure on its own record, to the end of it and beyond."""

from dataclasses import replace

import numpy as np
import pytest

from sequencer.documents.load import load_profile
from sequencer.errors import RecordError
from sequencer.judging import planned_trials
from sequencer.record.read import Step
from sequencer.requests import Readings
from sequencer.run.loop import perform
from sequencer.run.rehearsal import Rehearsal
from sequencer.run.replay import Replay
from sequencer.trials.trial import Context

DOCUMENTS = load_profile("acceptance")
CONTEXT = Context(DOCUMENTS.unit, DOCUMENTS.bench)
TRIAL, SETTINGS = planned_trials(DOCUMENTS)[2]  # the limit sweep: the one that adapts


def rehearsed() -> list[Step]:
    rehearsal = Rehearsal(DOCUMENTS.unit, DOCUMENTS.bench)
    perform(TRIAL.procedure(SETTINGS, CONTEXT), rehearsal)
    return rehearsal.steps


def test_a_whole_record_answers_an_adaptive_procedure_to_its_end() -> None:
    steps = rehearsed()
    assert perform(TRIAL.procedure(SETTINGS, CONTEXT), Replay(steps)) == len(steps)


def test_a_search_takes_the_turns_that_the_record_shows_and_not_others() -> None:
    """Replies with another corner than the nominal one lead to other levels, replayed exactly."""
    ratings = DOCUMENTS.unit.ratings.model_copy(update={"current": 2.5})
    other = DOCUMENTS.unit.model_copy(update={"ratings": ratings})
    rehearsal = Rehearsal(other, DOCUMENTS.bench)
    perform(TRIAL.procedure(SETTINGS, CONTEXT), rehearsal)
    levels = [s.request for s in rehearsal.steps]
    assert levels != [s.request for s in rehearsed()]
    count = perform(TRIAL.procedure(SETTINGS, CONTEXT), Replay(rehearsal.steps))
    assert count == len(rehearsal.steps)


@pytest.mark.parametrize("kept", [0, 1, 7, 50])
def test_when_a_record_is_used_up_another_answerer_goes_on(kept: int) -> None:
    steps = rehearsed()
    cut = [*steps[:kept], replace(steps[kept], reply=None)]
    live = Rehearsal(DOCUMENTS.unit, DOCUMENTS.bench)
    for step in cut[:-1]:
        live.answer(step.request)  # the bench has been brought to where the record ends
    before = len(live.steps)
    count = perform(TRIAL.procedure(SETTINGS, CONTEXT), Replay(cut, live))
    assert len(live.steps) - before == count - kept
    assert live.steps[before].request == steps[kept].request


def test_a_record_that_ends_with_nobody_to_go_on_says_where() -> None:
    with pytest.raises(RecordError, match="ends after 5 requests"):
        perform(TRIAL.procedure(SETTINGS, CONTEXT), Replay(rehearsed()[:5]))


def test_a_record_made_with_other_settings_is_refused() -> None:
    other = SETTINGS.model_copy(update={"readings": 9})
    with pytest.raises(RecordError, match="made with other documents or another version"):
        perform(TRIAL.procedure(other, CONTEXT), Replay(rehearsed()))


def test_replies_come_back_as_they_were() -> None:
    steps = rehearsed()
    replay = Replay(steps)
    for step in steps:
        reply = replay.answer(step.request)
        if isinstance(reply, Readings):
            assert isinstance(step.reply, Readings)
            for channel, values in step.reply.value.items():
                np.testing.assert_array_equal(reply.value[channel], values)
        else:
            assert reply == step.reply
