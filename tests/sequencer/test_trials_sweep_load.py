"""A limit sweep whose load is helped by resistors: what is connected when, and the nominal unit."""

import pytest

from sequencer.documents.load import load_profile
from sequencer.planning import make_plan
from sequencer.requests import LoadState
from sequencer.run.nominal import nominal_point
from sequencer.trials.sweep_load import REFERENCE_REGION, beside_sweep, with_resistors
from sequencer.trials.trial import Context

DOCUMENTS = load_profile("acceptance", bench="simulated-hand-resistors")
CONTEXT = Context(DOCUMENTS.unit, DOCUMENTS.bench)
TAKES_A = 30.0 / 17.0


def drawn(amperes: float) -> LoadState:
    return LoadState("current", amperes, on=amperes > 0.0)


def held(volts: float) -> LoadState:
    return LoadState("voltage", volts, on=True)


def test_the_resistor_is_connected_once_on_the_way_and_the_sum_stays() -> None:
    assert beside_sweep(CONTEXT, 30.0, 1.0) == (1,)
    way = [(drawn(a), "voltage line") for a in (0.0, 0.9, 1.8, 2.1, 2.4)]
    way += [(held(v), "corner") for v in (29.9, 20.0, 1.0)]
    found = [state for state, _ in with_resistors(CONTEXT, 30.0, (1,), way)]
    assert [state.resistors for state in found] == [()] * 3 + [(1,)] * 5
    for state, (before, _) in zip(found[:5], way[:5], strict=True):
        beside = TAKES_A if state.resistors else 0.0
        assert state.level + beside == pytest.approx(before.level)
    assert [state.level for state in found[5:]] == [29.9, 20.0, 1.0]
    for state in found:
        if state.mode == "current":
            assert state.level <= DOCUMENTS.bench.load.reach(30.0)


def test_a_reference_is_drawn_both_ways_so_that_nobody_is_asked_for_it() -> None:
    way = [(drawn(1.5), REFERENCE_REGION), (drawn(0.3), "voltage line"), (held(29.0), "corner")]
    way.append((drawn(1.5), REFERENCE_REGION))
    found = [state for state, _ in with_resistors(CONTEXT, 30.0, (1,), way)]
    assert [state.resistors for state in found] == [(), (), (1,), (1,)]
    assert found[3].level + TAKES_A == pytest.approx(found[0].level)


def test_without_resistors_nothing_changes() -> None:
    way = [(drawn(1.5), "voltage line"), (held(29.0), "corner")]
    assert with_resistors(CONTEXT, 30.0, (), way) == tuple(way)


def test_the_plan_counts_four_times_for_a_sweep_and_covers_its_limits() -> None:
    plan = make_plan(DOCUMENTS)
    sweep = next(trial for trial in plan.trials if trial.name == "limit_sweep")
    assert sum("resistor" in step.what for step in sweep.steps) == 4
    assert max(step.load_power for step in sweep.steps) <= 60.0
    covered = {limit.figure for limit in plan.limits if limit.covered}
    assert {"limit_current", "knee_current", "knee_onset", "short_current"} <= covered


def test_a_nominal_load_that_holds_a_voltage_gets_what_the_resistor_leaves() -> None:
    unit, bench = DOCUMENTS.unit, DOCUMENTS.bench
    helped = LoadState("voltage", 20.0, on=True, resistors=(1,))
    alone = nominal_point(unit, bench, 30.0, held(20.0))
    point = nominal_point(unit, bench, 30.0, helped)
    assert point.current == pytest.approx(alone.current)
    assert alone.load_power - point.load_power == pytest.approx(20.0**2 / 17.0)
    above = nominal_point(unit, bench, 30.0, LoadState("voltage", 30.2, on=True, resistors=(1,)))
    assert above.current == pytest.approx(TAKES_A, rel=1e-3)
    assert above.load_power == pytest.approx(0.0, abs=0.1)
