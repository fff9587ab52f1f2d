"""Levels grouped by resistors that a person connects: few asks, drift cancelled, honest doubt."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.documents.load import load_profile
from sequencer.documents.resistors import Resistor
from sequencer.numerics.chained import chained
from sequencer.numerics.pairs import LevelDifferences, bracketed_differences
from sequencer.planning import make_plan
from sequencer.requests import Apply, LoadState
from sequencer.run.loop import perform
from sequencer.run.rehearsal import Rehearsal
from sequencer.trials import load_steps
from sequencer.trials.by_hand import Group, groups, order_of_visits
from sequencer.trials.trial import Context, Evidence

DOCUMENTS = load_profile("acceptance", bench="simulated-hand-resistors")
FRACTIONS = (0.1, 0.25, 0.5, 0.75, 0.9, 1.0)


def context(*ohms: float, by: str = "hand", power_w: float = 60.0) -> Context:
    resistors = tuple(
        Resistor.model_validate({"resistance": f"{ohm} Ω", "power": "100 W", "by": by})
        if by == "hand"
        else Resistor.model_validate(
            {"resistance": f"{ohm} Ω", "power": "100 W", "by": by, "switch": "s", "output": str(n)}
        )
        for n, ohm in enumerate(ohms, start=1)
    )
    load = DOCUMENTS.bench.load.model_copy(update={"resistors": resistors, "power": power_w})
    bench = DOCUMENTS.bench.model_copy(update={"load": load})
    return Context(DOCUMENTS.unit, bench)


def asked(states: list[LoadState]) -> int:
    """Return how often a person connects or takes off a resistor."""
    before: set[int] = set()
    count = 0
    for state in states:
        count += len(before ^ set(state.resistors))
        before = set(state.resistors)
    return count


def states(of: Context, fractions: tuple[float, ...] = FRACTIONS) -> list[LoadState]:
    """Return all that load_steps sets the load to."""
    rehearsal = Rehearsal(of.unit, of.bench)
    given = load_steps.Settings.model_validate(
        {"voltage": "30 V", "current": "3 A", "fractions": [f"{f:%}" for f in fractions]}
    )
    perform(load_steps.procedure(given, of), rehearsal)
    requests = [step.request for step in rehearsal.steps]
    return [r.state for r in requests if isinstance(r, Apply) and isinstance(r.state, LoadState)]


def test_one_resistor_is_connected_once_and_taken_off_once() -> None:
    assert asked(states(context(25.0))) == 2
    first, second = groups(context(25.0), 30.0, 3.0, FRACTIONS)
    assert (first.hands, first.base, first.levels) == ((), 0.0, (0.1, 0.25, 0.5))
    assert (second.hands, second.base, second.levels) == ((1,), 0.5, (0.75, 0.9, 1.0))


def test_a_link_is_put_in_where_no_level_can_be_drawn_both_ways() -> None:
    found = groups(context(25.0), 30.0, 3.0, (0.1, 0.25, 1.0))
    assert found[1].base == pytest.approx(0.99 * 0.98 * 2.0 / 3.0)
    assert found[1].base in found[0].levels


def test_two_resistors_make_three_groups_and_two_of_each_ask() -> None:
    of = context(30.0, 30.0, power_w=40.0)
    assert [group.hands for group in groups(of, 30.0, 3.0, FRACTIONS)] == [(), (1,), (1, 2)]
    assert asked(states(of)) == 4


def test_a_link_that_the_load_could_just_not_take_is_none() -> None:
    of = context(30.0, 30.0, power_w=36.0)  # 2.12 A at least with both, 2.126 A at most with one
    found = groups(of, 30.0, 3.0, FRACTIONS)
    for group in found:
        for fraction in group.all_levels:
            shared = of.bench.load.shared(30.0, 3.0 * fraction, group.hands)
            assert shared is not None
            assert shared.own <= of.bench.load.reach(30.0)


def test_by_switch_or_without_need_nothing_is_grouped() -> None:
    for of in (context(25.0, by="switch"), context(power_w=150.0), context(25.0, power_w=150.0)):
        (only,) = groups(of, 30.0, 3.0, FRACTIONS)
        assert (only.hands, only.base, only.levels) == (None, 0.0, FRACTIONS)
        assert only.tag == {}


def test_without_a_level_in_common_a_person_is_asked_at_each_visit() -> None:
    of = context(12.0, power_w=60.0)  # 2.5 A of its own, and the load 2 A alone
    (only,) = groups(of, 30.0, 3.0, FRACTIONS)
    assert only.hands is None


@settings(max_examples=60, deadline=None)
@given(st.floats(12.0, 40.0), st.floats(40.0, 80.0), st.floats(0.3, 1.0))
def test_the_load_is_never_asked_for_more_than_it_can(ohm: float, power: float, f: float) -> None:
    of = context(ohm, power_w=power)
    for group in groups(of, 30.0, 3.0, (0.1, f, 1.0)):
        for fraction in group.all_levels:
            state = group.state(fraction)
            flows = state.level + sum(30.0 / ohm for _ in state.resistors)
            assert flows == pytest.approx(3.0 * fraction)
            if group.hands is not None:
                assert -1e-9 < state.level <= of.bench.load.reach(30.0)


def visited(
    group: Group, start: float, volts: Callable[[float, float], float], repeats: int = 3
) -> tuple[LevelDifferences, float]:
    order = list(order_of_visits(group, repeats))
    times = start + np.arange(len(order)) * 4.0
    values = [volts(t, f) for t, f in zip(times, order, strict=True)]
    return bracketed_differences(times, order, values, group.base), float(times[-1])


def test_drift_cancels_over_the_link_too() -> None:
    def volts(at: float, fraction: float) -> float:
        return 30.0 - 2.6e-3 * fraction + 0.5e-3 * fraction**2 + 8e-3 * np.exp(-at / 90.0)

    low, high = groups(context(25.0), 30.0, 3.0, FRACTIONS)
    above, end = visited(high, 0.0, volts)
    below, _ = visited(low, end + 25.0, volts)
    found = chained([below, above])
    expected = [-2.6e-3 * f + 0.5e-3 * f**2 for f in found.levels]
    assert list(found.levels) == [0.0, *FRACTIONS]
    assert np.max(np.abs(found.differences - expected)) < 2e-6  # of 8 mV of drift


def test_the_stated_scatter_is_the_one_that_there_is() -> None:
    random = np.random.default_rng(5)
    low, high = groups(context(25.0), 30.0, 3.0, FRACTIONS)
    found = []
    for _ in range(150):
        below, _ = visited(low, 0.0, lambda _, f: -1e-3 * f + random.normal(0.0, 1e-5))
        above, _ = visited(high, 200.0, lambda _, f: -1e-3 * f + random.normal(0.0, 1e-5))
        found.append(chained([below, above]))
    spread = np.cov(np.array([one.differences for one in found]).T)
    stated = np.mean([one.covariance for one in found], axis=0)
    assert np.allclose(np.diag(spread)[1:], np.diag(stated)[1:], rtol=0.35)
    assert spread[-1, 3] == pytest.approx(stated[-1, 3], rel=0.4)  # what the link is common to
    assert all(min(5.0, one.dof) == 5.0 for one in found)


def test_the_plan_says_how_often_and_figures_are_those_of_no_hands() -> None:
    plan = make_plan(DOCUMENTS)
    trial = next(t for t in plan.trials if t.name == "load_steps")
    assert sum("resistor" in step.what for step in trial.steps) == 2
    values = []
    for of in (context(25.0), context(power_w=150.0)):
        given = load_steps.Settings.model_validate({"voltage": "30 V", "current": "3 A"})
        rehearsal = Rehearsal(of.unit, of.bench)
        perform(load_steps.procedure(given, of), rehearsal)
        evidence = Evidence("load_steps", of, tuple(rehearsal.steps))
        values.append({f.name: f for f in load_steps.figures(given, evidence)})
    for name in ("load_regulation", "output_resistance"):
        hands, none = values[0][name], values[1][name]
        assert abs(hands.value - none.value) < hands.expanded + none.expanded
        assert hands.expanded > none.expanded
