"""Trials on a unit whose truth is written down in closed form: the nominal one of the rehearsal."""

import math
from dataclasses import replace
from functools import cache

import pytest
from rehearsed import rehearse

from sequencer.documents.load import Documents, load_profile
from sequencer.judging import Judged
from sequencer.planning import make_plan
from sequencer.requests import Apply, Ask, LoadState, Read, Settle, SupplyState
from sequencer.results import Figure
from sequencer.run import nominal
from sequencer.run.loop import perform
from sequencer.run.rehearsal import Rehearsal
from sequencer.trials import set_points
from sequencer.trials.trial import Context, Evidence

LIMIT_A = nominal.LIMIT_ABOVE_RATED * 3.0
SET_V = 30.0
DEPARTURE_V = 0.008


@cache
def rehearsed(profile: str) -> tuple[Documents, tuple[Rehearsal, ...], Judged]:
    documents = load_profile(profile)
    return documents, *rehearse(documents)


def figure(profile: str, name: str) -> Figure:
    return next(f for f in rehearsed(profile)[2].figures if f.name == name)


def limit_at(voltage: float) -> float:
    """The nominal unit's current at a voltage: its rounded corner, solved for the current."""
    current = LIMIT_A
    for _ in range(50):
        fall = SET_V - nominal.OUTPUT_RESISTANCE_OHM * current - voltage
        current = (
            LIMIT_A
            + nominal.LIMIT_CONDUCTANCE_S * (SET_V - voltage)
            + nominal.CORNER_WIDTH_A * math.log(fall / nominal.CORNER_SCALE_V)
        )
    return current


def line_through_the_limit() -> tuple[float, float]:
    """Least-squares line of current against voltage over 25 to 75 % of the setting."""
    volts = [SET_V * (0.25 + 0.5 * n / 400) for n in range(401)]
    amps = [limit_at(v) for v in volts]
    mean_v, mean_i = sum(volts) / 401, sum(amps) / 401
    slope = sum((v - mean_v) * (i - mean_i) for v, i in zip(volts, amps, strict=True)) / sum(
        (v - mean_v) ** 2 for v in volts
    )
    return mean_i - slope * mean_v, slope


def test_load_steps_find_the_nominal_output_resistance() -> None:
    resistance = figure("acceptance", "output_resistance")
    assert abs(resistance.value - nominal.OUTPUT_RESISTANCE_OHM) < resistance.expanded
    assert resistance.expanded < 0.1 * nominal.OUTPUT_RESISTANCE_OHM
    regulation = figure("acceptance", "load_regulation")
    assert abs(regulation.value - 3.0 * nominal.OUTPUT_RESISTANCE_OHM) < regulation.expanded


def test_limit_sweep_finds_the_nominal_corner() -> None:
    intercept, slope = line_through_the_limit()
    knee = (intercept + slope * SET_V) / (1 + slope * nominal.OUTPUT_RESISTANCE_OHM)
    onset = LIMIT_A + nominal.CORNER_WIDTH_A * math.log(DEPARTURE_V / nominal.CORNER_SCALE_V)
    for name, truth in (
        ("limit_current", intercept + slope * SET_V / 2),
        ("knee_current", knee),
        ("knee_onset", onset + nominal.LIMIT_CONDUCTANCE_S * DEPARTURE_V),
        ("short_current", intercept + slope * 1.0),
    ):
        found = figure("acceptance", name)
        # The nominal unit has no meter errors, only noise: far within the meter's statement.
        assert abs(found.value - truth) < 0.3 * found.expanded, name


def test_the_search_resolves_the_corner_and_takes_few_points() -> None:
    _, rehearsals, _ = rehearsed("acceptance")
    searched = [
        step
        for step in rehearsals[2].steps
        if isinstance(step.request, Read) and step.request.tag["leg"] == "search"
    ]
    assert 10 < len(searched) < 48


def test_the_limit_is_traced_in_constant_voltage_and_the_line_in_constant_current() -> None:
    _, rehearsals, _ = rehearsed("acceptance")
    states = [
        step.request.state
        for step in rehearsals[2].steps
        if isinstance(step.request, Apply) and isinstance(step.request.state, LoadState)
    ]
    assert max(s.level for s in states if s.mode == "current") <= 0.8 * 3.0 + 1e-9
    assert min(s.level for s in states if s.mode == "voltage") == pytest.approx(1.0)


def test_both_ways_visit_the_same_points() -> None:
    _, rehearsals, _ = rehearsed("acceptance")
    tags = [s.request.tag for s in rehearsals[2].steps if isinstance(s.request, Read)]
    down = [(t["region"], t["level"]) for t in tags if t["leg"] == "down"]
    back = [(t["region"], t["level"]) for t in tags if t["leg"] == "up"]
    assert down == back[::-1]


@pytest.mark.parametrize("profile", ["acceptance", "overnight"])
def test_every_trial_leaves_the_load_off(profile: str) -> None:
    for rehearsal in rehearsed(profile)[1]:
        last = [s.request for s in rehearsal.steps if isinstance(s.request, Apply)][-1]
        assert isinstance(last.state, LoadState)
        assert not last.state.on


@pytest.mark.parametrize("profile", ["acceptance", "overnight"])
def test_no_trial_draws_current_before_the_supply_is_set(profile: str) -> None:
    for rehearsal in rehearsed(profile)[1]:
        for step in rehearsal.steps:
            if isinstance(step.request, Apply) and isinstance(step.request.state, SupplyState):
                break
            if isinstance(step.request, Apply):
                assert isinstance(step.request.state, LoadState)
                assert not step.request.state.on


def test_every_point_is_read_only_after_a_settling_test() -> None:
    for rehearsal in rehearsed("acceptance")[1]:
        kinds = [type(s.request) for s in rehearsal.steps]
        for n, kind in enumerate(kinds):
            if kind is Read:
                assert kinds[n - 1] is Settle
    assert Ask not in {type(s.request) for r in rehearsed("acceptance")[1] for s in r.steps}


def test_a_plan_lasts_as_long_as_its_trials_say() -> None:
    plan = make_plan(load_profile("overnight"))
    assert plan.duration_s == pytest.approx(8.5 * 3600, rel=0.01)


def test_a_plan_says_beforehand_what_will_not_be_covered() -> None:
    documents = load_profile("acceptance")
    entries = tuple(
        entry.model_copy(update={"settings": {**entry.settings, "current": "2 A"}})
        if "current" in entry.settings
        else entry
        for entry in documents.profile.trials
    )
    less = replace(documents, profile=documents.profile.model_copy(update={"trials": entries}))
    found = {limit.figure: limit for limit in make_plan(less).limits}
    assert not found["load_regulation"].covered
    assert found["load_regulation"].coverage is not None
    assert found["load_regulation"].coverage.reached == pytest.approx(2.0, rel=0.01)
    assert found["load_regulation"].coverage.required == 3.0
    assert found["limit_current"].covered
    assert not found["drift"].measured


def test_a_remote_output_that_is_set_to_nothing_does_not_fall_like_one_switched_off() -> None:
    documents = load_profile("acceptance")
    remote = documents.unit.unit.model_copy(update={"control": "remote"})
    unit = documents.unit.model_copy(update={"unit": remote})
    rehearsal = Rehearsal(unit, documents.bench)
    context = Context(unit, documents.bench)
    settings = set_points.Settings(voltage_to="30 V")
    perform(set_points.procedure(settings, context), rehearsal)
    found = set_points.figures(settings, Evidence("set_points", context, tuple(rehearsal.steps)))
    assert found[0].name == "setting_error"
    assert found[0].expanded < 5e-3
