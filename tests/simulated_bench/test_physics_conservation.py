"""Kirchhoff's laws and the balance of power, over random circuits in every load mode."""

from dataclasses import replace
from math import exp, tanh

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from simulated_bench.frame import STEEPEST_FOLD
from simulated_bench.load import LoadMode, LoadParts, LoadSetting, draw_current
from simulated_bench.operating_point import Circuit, OperatingPoint, solve
from simulated_bench.sense import SenseInputs, SenseSide, pair, side

LEVELS: dict[LoadMode, tuple[float, float]] = {
    "current": (0.0, 6.0),
    "voltage": (0.3, 35.0),
    "resistance": (0.5, 1000.0),
    "power": (0.0, 120.0),
}
LOAD = LoadParts(on_resistance_ohm=0.16, voltage_mode_ohm=5e-3, greatest_current_a=5.5)


@st.composite
def circuits(draw: st.DrawFn) -> tuple[Circuit, SenseInputs, float]:
    mode = draw(st.sampled_from(sorted(LEVELS)))
    level = draw(st.floats(*LEVELS[mode]))
    lead = draw(st.floats(1e-3, 0.2))
    sense_lead = draw(st.floats(0.01, 1.0))
    limit = draw(st.floats(0.2, 5.0))
    conductance = draw(st.floats(0.0, 1e-3))
    v_cv = draw(st.floats(1.0, 31.0))
    inputs = SenseInputs(
        series_ohm=draw(st.floats(1.0, 200.0)),
        fallback_ohm=draw(st.floats(1e3, 1e6)),
        current_a=draw(st.floats(0.0, 1e-4)),
        compensable_v=50.0,  # beyond reach: the clamps have a test of their own
    )
    one = side(inputs, sense_lead, lead, connected=True)
    circuit = Circuit(
        v_cv=v_cv,
        output_ohm=draw(st.floats(0.0, 0.05)),
        limit_a=limit + conductance * v_cv,
        limit_per_v=-conductance,
        rounding_v=0.01,
        rounding_a=draw(st.floats(2e-3, 0.1)),
        peak_v=100.0,
        source_ohm=draw(st.floats(0.1, 2.0)),
        ripple_ohm=draw(st.floats(0.1, 2.0)),
        saturation_v=2.0,
        saturation_ohm=draw(st.floats(0.0, 0.5)),
        drive_span_v=draw(st.just(0.0) | st.floats(0.05, 2.0)),
        idle_a=0.01,
        leakage_a=1e-4,
        bleeder_ohm=2200.0,
        pair=pair(one, one),
        plus_lead_ohm=lead,
        minus_lead_ohm=lead,
        reverse_s=0.0,
        sense_a=inputs.current_a,
        residual_ohm=draw(st.floats(0.0, 5e-3)),
        load=LoadSetting(mode, level, on=True),
        load_parts=LOAD,
    )
    return circuit, inputs, sense_lead


@st.composite
def hard_circuits(draw: st.DrawFn) -> tuple[Circuit, SenseInputs, float]:
    """As `circuits`, also in dropout, with a limit that folds back and resistors in parallel."""
    circuit, inputs, sense_lead = draw(circuits())
    load = replace(circuit.load, parallel_s=draw(st.just(0.0) | st.floats(1e-3, 0.5)))
    circuit = replace(circuit, peak_v=draw(st.just(100.0) | st.floats(5.0, 60.0)), load=load)
    if draw(st.booleans()):
        fold = draw(st.floats(0.0, 0.8)) * circuit.limit_a / circuit.v_cv
        leads = circuit.plus_lead_ohm + circuit.minus_lead_ohm
        fold = min(fold, STEEPEST_FOLD / leads)  # as in `frame.py`
        limit = circuit.limit_a - fold * circuit.v_cv
        circuit = replace(circuit, limit_a=limit, limit_per_v=fold)
    return circuit, inputs, sense_lead


def sense_currents(
    point: OperatingPoint, inputs: SenseInputs, sense_lead: float
) -> tuple[float, float]:
    """Through each sense lead and each fallback resistor, by Ohm's law from node voltages."""
    lead = 0.5 * (point.sense_v - point.input_v) / (inputs.series_ohm + sense_lead)
    fallback = 0.5 * (point.terminals_v - point.input_v) / inputs.fallback_ohm
    return lead, fallback


@settings(max_examples=400, deadline=None)
@given(hard_circuits())
def test_currents_into_every_node_sum_to_zero(case: tuple[Circuit, SenseInputs, float]) -> None:
    circuit, inputs, sense_lead = case
    point = solve(circuit)
    assume(point.terminals_v > 0.0)  # else nothing comes out at all
    in_sense, in_fallback = sense_currents(point, inputs, sense_lead)
    assert in_sense + in_fallback == pytest.approx(inputs.current_a, abs=1e-9)  # sense input
    assert point.lead_a == pytest.approx(point.load_a + in_sense, abs=1e-9)  # sense point
    assert point.shunt_a == pytest.approx(point.lead_a + in_fallback, abs=1e-9)  # terminal
    around = point.terminals_v - point.sense_v
    assert around == pytest.approx(2.0 * circuit.plus_lead_ohm * point.lead_a, abs=1e-9)


@settings(max_examples=400, deadline=None)
@given(hard_circuits())
def test_delivered_power_is_dissipated(case: tuple[Circuit, SenseInputs, float]) -> None:
    circuit, inputs, sense_lead = case
    point = solve(circuit)
    assume(point.terminals_v > 0.0)  # else nothing comes out at all
    in_sense, in_fallback = sense_currents(point, inputs, sense_lead)
    delivered = point.terminals_v * point.shunt_a
    dissipated = (
        2.0 * circuit.plus_lead_ohm * point.lead_a**2
        + circuit.residual_ohm * point.load_a**2
        + point.load_v * point.load_a
        + 2.0 * (inputs.series_ohm + sense_lead) * in_sense**2
        + 2.0 * inputs.fallback_ohm * in_fallback**2
        + point.input_v * inputs.current_a
    )
    assert delivered == pytest.approx(dissipated, abs=1e-7)


@settings(max_examples=400, deadline=None)
@given(circuits())
def test_supply_and_load_both_obey_their_laws(case: tuple[Circuit, SenseInputs, float]) -> None:
    circuit, _, _ = case
    point = solve(circuit)
    limit = circuit.limit_a + circuit.limit_per_v * point.terminals_v
    drop = circuit.v_cv - circuit.output_ohm * point.shunt_a - point.input_v
    taken, span = circuit.rounding_v * exp((point.shunt_a - limit) / circuit.rounding_a), drop
    if circuit.drive_span_v:
        span = circuit.drive_span_v * tanh(drop / circuit.drive_span_v)
    # An exponential over milliamperes amplifies the current's last digits.
    assert span == pytest.approx(taken, abs=1e-6)
    drawn, slope = draw_current(LOAD, circuit.load, point.load_v)
    assert point.load_a == pytest.approx(drawn, abs=1e-8 * (1.0 + abs(slope)))


@settings(max_examples=300, deadline=None)
@given(circuits(), st.floats(5.0, 60.0), st.floats(-2000.0, 12.0))
def test_every_start_finds_the_same_point_in_dropout_too(
    case: tuple[Circuit, SenseInputs, float], peak_v: float, start: float
) -> None:
    circuit, _, _ = case
    if circuit.load.mode == "power":
        return  # constant power may have a second, collapsed point; the start chooses
    circuit = replace(circuit, peak_v=peak_v)
    cold, warm = solve(circuit), solve(circuit, start)
    assert warm.load_v == pytest.approx(cold.load_v, abs=1e-6)
    assert warm.load_a == pytest.approx(cold.load_a, abs=1e-6)
    follows = cold.reservoir_v - circuit.saturation_v
    # Valley and mean are counted with the bleeder's current at the set voltage.
    slack = (circuit.v_cv / circuit.bleeder_ohm) * (circuit.source_ohm + circuit.ripple_ohm)
    assert cold.terminals_v <= max(follows, 0.0) + slack + 1e-6 or cold.headroom_v > 0.0


def test_a_power_load_takes_its_floor_down_to_the_last_of_a_voltage() -> None:
    for volts in (1e-300, 1e-170, 1e-3, 1.0):
        current, slope = draw_current(LOAD, LoadSetting("power", 60.0, on=True), volts)
        assert current == pytest.approx(volts / LOAD.on_resistance_ohm)
        assert slope == pytest.approx(1.0 / LOAD.on_resistance_ohm)


def test_a_current_load_above_the_limit_pulls_the_output_to_its_floor() -> None:
    inputs = SenseInputs(100.0, 1e5, 0.0, 1.2)
    one = side(inputs, 0.05, 0.02, connected=True)
    circuit = Circuit(
        v_cv=30.0, output_ohm=1e-3, limit_a=3.3, limit_per_v=0.0, rounding_v=0.01,
        rounding_a=8e-3, peak_v=42.0, source_ohm=0.8, ripple_ohm=1.0, saturation_v=2.0,
        idle_a=0.01, leakage_a=0.0, bleeder_ohm=2200.0, pair=pair(one, one),
        plus_lead_ohm=0.02, minus_lead_ohm=0.02, reverse_s=0.0, sense_a=0.0,
        residual_ohm=0.0, load=LoadSetting("current", 4.0, on=True), load_parts=LOAD,
    )  # fmt: skip
    point = solve(circuit)
    assert point.load_v == pytest.approx(LOAD.on_resistance_ohm * point.load_a, rel=1e-6)
    assert point.load_a == pytest.approx(3.3 + 8e-3 * 8.0, abs=0.01)


@pytest.mark.parametrize(
    ("level", "peak_v", "v_cv"),
    [(3.305672596856353, 6.55357860645514, 30.0), (3.0140221966933787, 7.331644452109144, 1.0)],
)
def test_a_step_that_ends_beside_the_loads_floor_is_not_the_last(
    level: float, peak_v: float, v_cv: float
) -> None:
    # Found by chance: two starts came out 2 µV apart.
    one = side(SenseInputs(1.0, 1000.0, 5.94e-5, 50.0), 1.0, 0.125, connected=True)
    circuit = Circuit(
        v_cv=v_cv, output_ohm=0.0, limit_a=3.0, limit_per_v=0.0, rounding_v=0.01,
        rounding_a=0.0625, peak_v=peak_v, source_ohm=1.25, ripple_ohm=1.0, saturation_v=2.0,
        idle_a=0.01, leakage_a=1e-4, bleeder_ohm=2200.0, pair=pair(one, one),
        plus_lead_ohm=0.125, minus_lead_ohm=0.125, reverse_s=0.0, sense_a=5.94e-5,
        residual_ohm=0.0, load=LoadSetting("current", level, on=True), load_parts=LOAD,
    )  # fmt: skip
    starts = [solve(circuit, start).load_v for start in (None, 0.0, -40.0, -10.0, 3.0)]
    assert max(starts) - min(starts) < 1e-8


@pytest.mark.parametrize("level", [0.5, 2.0, 3.0])
def test_open_sense_leads_leave_the_clamp_on_the_output(level: float) -> None:
    inputs = SenseInputs(100.0, 1e5, 2e-5, 1.2)
    one = side(inputs, 0.05, 0.02, connected=False)
    circuit = Circuit(
        v_cv=20.0, output_ohm=0.0, limit_a=4.0, limit_per_v=0.0, rounding_v=0.01,
        rounding_a=8e-3, peak_v=42.0, source_ohm=0.8, ripple_ohm=1.0, saturation_v=2.0,
        idle_a=0.01, leakage_a=0.0, bleeder_ohm=2200.0, pair=pair(one, one),
        plus_lead_ohm=0.02, minus_lead_ohm=0.02, reverse_s=0.0, sense_a=2e-5,
        residual_ohm=0.0, load=LoadSetting("current", level, on=True), load_parts=LOAD,
    )  # fmt: skip
    point = solve(circuit)
    assert point.terminals_v == pytest.approx(21.2, abs=1e-6)
    assert point.sense_v == pytest.approx(21.2 - 0.04 * level, abs=1e-6)


@pytest.mark.parametrize("level", [0.0, 1.0, 2.5])
def test_reversed_sense_leads_load_the_output_through_their_clamps(level: float) -> None:
    series, lead, clamp = 100.0, 0.02, 0.6
    one = SenseSide(clamp, 0.0, 0.0, lead, clamp, 0.0, lead)
    circuit = Circuit(
        v_cv=20.0, output_ohm=0.0, limit_a=4.0, limit_per_v=0.0, rounding_v=0.01,
        rounding_a=8e-3, peak_v=42.0, source_ohm=0.8, ripple_ohm=1.0, saturation_v=2.0,
        idle_a=0.01, leakage_a=0.0, bleeder_ohm=2200.0, pair=pair(one, one),
        plus_lead_ohm=lead, minus_lead_ohm=lead, reverse_s=1.0 / series, sense_a=0.0,
        residual_ohm=0.0, load=LoadSetting("current", level, on=True), load_parts=LOAD,
    )  # fmt: skip
    point = solve(circuit)
    assert point.terminals_v == pytest.approx(21.2, abs=1e-6)
    # One lead goes from the plus input, a clamp below its terminal, to the minus sense point.
    drop = lead * point.lead_a
    reverse = (point.terminals_v - clamp - drop) / series
    assert point.lead_a == pytest.approx(level + reverse, abs=1e-9)
    assert point.shunt_a == pytest.approx(level + 2.0 * reverse, abs=1e-9)
