"""The order of trials where one meter's leads are moved: few walks, no less protection."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.documents.guards import VoltageGuard
from sequencer.documents.load import Documents, load_profile
from sequencer.documents.profile import Resume, TrialEntry
from sequencer.order import Order, first_looked_at, order_of, placed
from sequencer.planning import make_plan
from sequencer.record.read import Step
from sequencer.run.loop import perform
from sequencer.run.past import Past
from sequencer.run.rehearsal import Rehearsal
from sequencer.trials.trial import VOLTAGE, VOLTAGE_AT_LOAD

SHIPPED = load_profile("acceptance", bench="simulated-moved-leads")
STATED = {"voltage": "30 V", "current": "3 A"}
SETTINGS: dict[str, dict[str, str]] = {
    "sense_check": STATED,
    "load_steps": STATED,
    "limit_sweep": {"voltage": "30 V"},
    "soak": {**STATED, "duration": "1 h"},
    "output_off": {"voltage": "30 V"},
}


def documents(*names: str, alike: bool = True) -> Documents:
    """Return the shipped documents with other trials; not `alike`, without a guard at the load."""
    entries = tuple(TrialEntry.model_validate({"trial": n, **SETTINGS[n]}) for n in names)
    bench = SHIPPED.bench
    if not alike:
        guard = VoltageGuard.model_validate({"at_most": "35 V"})
        bench = bench.model_copy(update={"guards": {VOLTAGE: guard}})
    profile = SHIPPED.profile.model_copy(update={"trials": entries})
    return replace(SHIPPED, bench=bench, profile=profile)


def names(order: Order) -> list[str]:
    return [turn.trial.name for turn in order.turns]


def starts_at(order: Order) -> str:
    return order.turns[0].context.leads_at


def test_a_check_that_comes_first_begins_at_the_load_and_ends_where_the_others_need_it() -> None:
    order = order_of(documents("sense_check", "load_steps", "limit_sweep"))
    assert (order.walks, starts_at(order), order.changed) == (1, VOLTAGE_AT_LOAD, False)
    assert {turn.context.leads_at for turn in order.turns[1:]} == {VOLTAGE}
    assert order.remarks == ()


def test_one_that_comes_last_begins_where_the_leads_are_and_leaves_them_at_the_load() -> None:
    order = order_of(documents("load_steps", "sense_check"))
    assert (order.walks, starts_at(order), order.changed) == (1, VOLTAGE, False)


def test_one_in_the_middle_is_put_first_and_keeps_its_number() -> None:
    order = order_of(documents("load_steps", "sense_check", "limit_sweep"))
    assert names(order) == ["sense_check", "load_steps", "limit_sweep"]
    assert [turn.number for turn in order.turns] == [1, 0, 2]
    assert order.walks == 1
    assert "numbers in record and report stay the profile's" in order.remarks[0]


def test_one_that_is_to_meet_a_warm_unit_stays_after_the_soak() -> None:
    order = order_of(documents("soak", "sense_check", "load_steps"))
    assert not order.changed
    assert order.walks == 2
    assert "one state of heat" in order.remarks[-1]


def test_a_guard_that_would_rest_when_the_first_current_flows_costs_a_walk_and_is_named() -> None:
    order = order_of(documents("sense_check", "load_steps", alike=False))
    assert (order.walks, starts_at(order)) == (2, VOLTAGE)
    assert "give voltage.load the same guard and 1 will do" in order.remarks[-1]


def test_two_checks_share_the_way_between_them() -> None:
    assert order_of(documents("sense_check", "sense_check")).walks == 2
    assert order_of(documents("sense_check", "sense_check", "load_steps")).walks == 2


@settings(max_examples=40, deadline=None)
@given(st.lists(st.sampled_from(sorted(SETTINGS)), min_size=1, max_size=5), st.booleans())
def test_whatever_the_profile_holds(trials: Sequence[str], alike: bool) -> None:
    given_documents = documents(*trials, alike=alike)
    order = order_of(given_documents)
    assert sorted(turn.number for turn in order.turns) == list(range(len(trials)))
    others = [turn.number for turn in order.turns if not turn.both_places]
    assert others == sorted(others)
    for place, turn in enumerate(order.turns):
        if turn.both_places:
            assert place <= turn.number  # never later than its author put it
            before = [other.number for other in order.turns[:place]]
            warmed = [n for n, name in enumerate(trials[: turn.number]) if name == "soak"]
            assert set(warmed) <= set(before)
        else:
            assert turn.context.leads_at == VOLTAGE
    author = [turn for _, turn in sorted((turn.number, turn) for turn in order.turns)]
    assert order.walks <= placed(author, VOLTAGE).walks
    assert order.walks <= placed(first_looked_at(author), VOLTAGE).walks
    if not any(turn.both_places for turn in order.turns):
        assert order.walks == 0


@pytest.mark.parametrize(
    "trials", [("sense_check", "load_steps"), ("soak", "sense_check", "load_steps")]
)
def test_the_plan_has_as_many_walks_as_the_order_says(trials: tuple[str, ...]) -> None:
    plan = make_plan(documents(*trials))
    moves = [s for t in plan.trials for s in t.steps if s.what.startswith("ask: Move the leads")]
    assert len(moves) == plan.order.walks


def rehearsed(order: Order) -> list[list[Step]]:
    """Return nominal steps of each trial, by the profile's numbers, numbered as they were done."""
    steps: list[list[Step]] = [[] for _ in order.turns]
    seq = 0
    for turn in order.turns:
        nominal = Rehearsal(turn.context.unit, turn.context.bench)
        perform(turn.trial.procedure(turn.settings, turn.context), nominal)
        for step in nominal.steps:
            seq += 1
            steps[turn.number].append(replace(step, seq=seq))
    return steps


def test_a_run_that_goes_on_expects_the_leads_where_its_next_trial_wants_them() -> None:
    order = order_of(documents("load_steps", "sense_check", "limit_sweep"))
    steps = rehearsed(order)
    cut = len(steps[0]) // 2
    past = Past([steps[0][:cut], steps[1], []], Resume(), last_time_s=100.0, last_request=9)
    rest = past.open(order.turns)
    assert [turn.number for turn in rest] == [0, 2]
    assert rest[0].context.leads_at == VOLTAGE
    past = Past([[], steps[1][:9], []], Resume(), last_time_s=100.0, last_request=9)
    rest = past.open(order.turns)
    assert [turn.number for turn in rest] == [1, 0, 2]
    assert rest[0].context.leads_at == VOLTAGE_AT_LOAD
