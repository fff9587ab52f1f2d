"""Where the output settles when a folding limit or a power load leaves several balances."""

from dataclasses import replace
from typing import Final

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from simulated_bench.characteristic import Circuit
from simulated_bench.load import LoadMode, LoadParts, LoadSetting, draw_current
from simulated_bench.operating_point import OperatingPoint, solve
from simulated_bench.scenario import load
from simulated_bench.sense import SenseInputs, SenseSide, pair, side
from simulated_bench.setting import dial
from simulated_bench.world import World

LOAD: Final = LoadParts(on_resistance_ohm=0.16, voltage_mode_ohm=5e-3, greatest_current_a=5.0)
LEVELS: Final[dict[LoadMode, tuple[float, float]]] = {
    "current": (0.0, 6.0),
    "voltage": (0.0, 35.0),
    "resistance": (0.0, 1000.0),
    "power": (0.0, 150.0),
}
LEAD_OHM: Final = 0.02
ROUNDING_V, ROUNDING_A = 0.01, 8e-3


def loads() -> st.SearchStrategy[LoadSetting]:
    def of(mode: LoadMode) -> st.SearchStrategy[LoadSetting]:
        return st.builds(LoadSetting, st.just(mode), st.floats(*LEVELS[mode]), st.booleans())

    return st.sampled_from(sorted(LEVELS)).flatmap(of)


def sides(connection: str) -> tuple[SenseSide, SenseSide]:
    if connection == "reversed":
        one = SenseSide(0.6, 0.0, 0.0, LEAD_OHM, 0.6, 0.0, LEAD_OHM)
        return one, one
    inputs = SenseInputs(100.0, 1e5, 2e-5, 1.2)
    plus = side(inputs, 0.05, LEAD_OHM, connected=connection not in ("open", "plus open"))
    minus = side(inputs, 0.05, LEAD_OHM, connected=connection not in ("open", "minus open"))
    return plus, minus


def folding(
    fold: float, v_cv: float, full_a: float, setting: LoadSetting, connection: str = "connected"
) -> Circuit:
    """A limit from `fold` of its full current at zero volts to all of it at the set voltage."""
    per_v = min(full_a * (1.0 - fold) / v_cv, 0.25 / LEAD_OHM)
    return Circuit(
        v_cv=v_cv, output_ohm=1e-3, limit_a=full_a * fold + 1e-4 * v_cv, limit_per_v=per_v - 1e-4,
        rounding_v=ROUNDING_V, rounding_a=ROUNDING_A, peak_v=42.0, source_ohm=0.8, ripple_ohm=1.0,
        saturation_v=2.0, idle_a=0.01, leakage_a=5e-5, bleeder_ohm=2200.0,
        pair=pair(*sides(connection)), plus_lead_ohm=LEAD_OHM, minus_lead_ohm=LEAD_OHM,
        reverse_s=0.01 if connection == "reversed" else 0.0, sense_a=2e-5, residual_ohm=1e-4,
        load=setting, load_parts=LOAD,
    )  # fmt: skip


CASES = st.builds(
    folding,
    st.floats(0.0, 1.0),
    st.floats(0.01, 31.0),
    st.floats(0.0, 4.0),
    loads(),
    st.sampled_from(["connected", "open", "plus open", "minus open", "reversed"]),
)
ROUNDING_OFF_A: Final = 1e-8
"""What the balance of currents is solved to."""

STARTS = st.none() | st.floats(-1e4, 50.0)
STANDING = st.none() | st.floats(0.0, 45.0)


@settings(max_examples=300, deadline=None)
@given(CASES, STARTS, STANDING, st.floats(0.0, 45.0), st.sampled_from([0.0, 0.5]))
# What the acceptance met: a constant-voltage load on the fold, from where the output was on.
@example(folding(0.4, 30.0, 3.3, LoadSetting("voltage", 10.0, on=True)), -300.0, None, 42.0, 0.0)
def test_the_output_stays_between_zero_and_the_unregulated_voltage(
    case: Circuit, start: float | None, standing_v: float | None, peak_v: float, span_v: float
) -> None:
    circuit = replace(case, peak_v=peak_v, drive_span_v=span_v)
    point = solve(circuit, start, standing_v)
    assert 0.0 <= point.load_v <= point.terminals_v + 1e-9 <= peak_v + 2e-9
    assert point.shunt_a >= -ROUNDING_OFF_A
    assert point.load_a >= -ROUNDING_OFF_A
    drawn, slope = draw_current(LOAD, circuit.load, point.load_v)
    assert point.load_a == pytest.approx(drawn, abs=1e-8 * (1.0 + abs(slope)))


@settings(max_examples=200, deadline=None)
@given(CASES, STARTS, STANDING)
def test_where_it_has_settled_it_stays(
    circuit: Circuit, start: float | None, standing_v: float | None
) -> None:
    settled = solve(circuit, start, standing_v)
    again = solve(circuit, settled.y)
    assert again.terminals_v == pytest.approx(settled.terminals_v, abs=1e-6)
    assert again.load_a == pytest.approx(settled.load_a, abs=1e-6)


STEP_V: Final = 5e-4
CLOSE_CALL_A: Final = 1e-3
"""A way past a surplus as small as this may be taken to end there."""


@settings(max_examples=300, deadline=None)
@given(
    st.floats(0.05, 1.0), st.floats(5.0, 30.0), st.floats(0.5, 4.0), loads(), st.floats(0.0, 30.0)
)
def test_it_settles_where_the_capacitors_surplus_current_takes_it(
    fold: float, v_cv: float, full_a: float, setting: LoadSetting, standing_v: float
) -> None:
    """Against a plain walk over voltages, with the limit's equation written down once more."""
    wire = SenseSide(0.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0)
    circuit = replace(
        folding(fold, v_cv, full_a, setting),
        output_ohm=0.0, pair=pair(wire, wire), plus_lead_ohm=1e-9, minus_lead_ohm=1e-9,
        sense_a=0.0, residual_ohm=0.0, peak_v=100.0,
    )  # fmt: skip
    volts = np.arange(0.0, v_cv, STEP_V)
    limit = full_a * (fold + (1.0 - fold) * volts / v_cv) + 1e-4 * (v_cv - volts)
    supplied = limit + ROUNDING_A * np.log((v_cv - volts) / ROUNDING_V)
    drawn = np.array([draw_current(LOAD, setting, float(at))[0] for at in volts])
    surplus = supplied - drawn
    here = min(round(standing_v / STEP_V), volts.size - 1)
    way = surplus[here:] if surplus[here] > 0.0 else -surplus[here::-1]
    ends = np.flatnonzero(way <= 0.0)
    steps = int(ends[0]) if ends.size else way.size
    settles_v = float(volts[here] + STEP_V * steps * np.sign(surplus[here]))
    found_v = solve(circuit, standing_v=standing_v).terminals_v
    # A gradient of ten amperes per volt makes a step worth this much.
    passed = way[1 : max(steps - 5, 1)]
    close_call = bool(passed.size) and float(np.min(passed)) < CLOSE_CALL_A
    if not close_call and way[0] > CLOSE_CALL_A:
        assert found_v == pytest.approx(min(settles_v, v_cv), abs=5.0 * STEP_V)


def foldback_world(setting: LoadSetting) -> World:
    world = World(load("foldback"), 1)
    world.set_controls(replace(world.controls, load=setting, output_on=True))
    return world


def powered(world: World) -> World:
    wanted = dial(world.parts.setting, 30.0)
    world.set_controls(replace(world.controls, setting=wanted))
    world.advance_to(world.now + 10.0)
    return world


def settled(world: World, mode: LoadMode, level: float) -> OperatingPoint:
    world.set_load(mode, level, on=True)
    world.advance_to(world.now + 3.0)
    return world.moment().point


def test_a_folded_output_comes_back_only_below_its_short_circuit_current() -> None:
    world = powered(foldback_world(LoadSetting()))
    assert settled(world, "current", 2.0).load_v == pytest.approx(30.0, abs=0.1)
    assert settled(world, "current", 3.6).load_v < 0.5
    assert settled(world, "current", 2.0).load_v < 0.5, "2 A is more than the fold leaves at 0 V"
    assert settled(world, "current", 1.2).load_v == pytest.approx(30.0, abs=0.1)
    assert settled(world, "current", 2.0).load_v == pytest.approx(30.0, abs=0.1)


def test_a_voltage_load_holds_every_point_of_the_fold() -> None:
    world = powered(foldback_world(LoadSetting()))
    down = [settled(world, "voltage", level) for level in (25.0, 10.0, 1.0)]
    up = [settled(world, "voltage", level) for level in (10.0, 25.0)]
    for point, level in zip([*down, *up], (25.0, 10.0, 1.0, 10.0, 25.0), strict=True):
        # The load's loop resistance and the drawn current lift it above its level.
        assert point.load_v == pytest.approx(level + 5e-3 * point.load_a, abs=1e-6)
    assert down[0].load_a > down[1].load_a > down[2].load_a
    assert up[0].load_a == pytest.approx(down[1].load_a, abs=1e-3)


def test_switched_on_into_a_current_load_the_fold_holds_it_down_but_not_into_a_resistor() -> None:
    held = powered(foldback_world(LoadSetting("current", 2.0, on=True)))
    assert held.voltage("load") < 0.5
    free = powered(foldback_world(LoadSetting("resistance", 15.0, on=True)))
    assert free.voltage("load") == pytest.approx(30.0, abs=0.1)
