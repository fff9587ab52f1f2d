"""The truth agrees with itself, with the parts that were drawn, and with each scenario's story."""

from functools import cache
from math import log

import pytest

from simulated_bench.quantities import Uncertain
from simulated_bench.scenario import load
from simulated_bench.truth import truth
from simulated_bench.wiring import copper_factor
from simulated_bench.world import World

LIMITS = {
    "load_regulation": (0.0, 0.0002 * 30 + 0.002),
    "output_resistance": (0.0, 5e-3),
    "sense_error": (0.0, 3e-3),
    "limit_current": (3.0, 3.6),
    "knee_current": (3.0, 9.0),
    "knee_onset": (3.0, 9.0),
    "short_current": (0.0, 3.9),
    "drift": (0.0, 30e-3),
}
"""What W-17 promises."""


@cache
def figures(name: str, seed: int, soak_s: float) -> dict[str, float]:
    scenario = load(name)
    stated = scenario.stated.model_copy(update={"soak": Uncertain(soak_s)})
    return truth(scenario.model_copy(update={"stated": stated}), seed)


def broken(found: dict[str, float]) -> set[str]:
    return {
        name
        for name, (low, high) in LIMITS.items()
        if name not in found or not low <= found[name] <= high
    }


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_healthy_unit_keeps_every_promise_with_margin(seed: int) -> None:
    found = figures("healthy", seed, 8 * 3600.0)
    assert not broken(found)
    assert found["drift"] < 20e-3
    assert found["load_regulation"] < 6e-3
    assert found["knee_onset"] > 3.1


@pytest.mark.parametrize(
    ("name", "soak_s", "must_break", "must_keep"),
    [
        ("leaky-reference", 8 * 3600.0, {"drift"}, set(LIMITS) - {"drift"}),
        ("worn-trimmer", 4 * 3600.0, {"drift"}, set(LIMITS) - {"drift"}),
        ("residual-sense-wiring", 600.0, {"sense_error"}, set(LIMITS) - {"sense_error"}),
        ("low-limit", 600.0, {"limit_current", "knee_current", "knee_onset"}, {"short_current"}),
        ("soft-limit", 600.0, {"knee_onset", "load_regulation"}, {"knee_current", "limit_current"}),
        ("foldback", 600.0, {"limit_current"}, {"load_regulation", "knee_onset"}),
        ("dried-out-reservoir", 600.0, {"load_regulation", "knee_onset"}, {"limit_current"}),
        ("dead-diode", 600.0, {"load_regulation", "knee_onset"}, {"limit_current"}),
        ("dropout", 600.0, {"load_regulation", "knee_onset"}, {"limit_current"}),
        ("oscillation", 600.0, {"load_regulation"}, {"limit_current"}),
        ("sense-open", 600.0, {"load_regulation", "output_resistance"}, {"limit_current"}),
        ("sense-reversed", 600.0, {"load_regulation"}, set()),
        ("thermal-runaway", 2 * 3600.0, {"drift"}, {"load_regulation", "knee_onset"}),
    ],
)
def test_a_fault_breaks_the_promise_it_is_named_for(
    name: str, soak_s: float, must_break: set[str], must_keep: set[str]
) -> None:
    for seed in (1, 2):
        found = broken(figures(name, seed, soak_s))
        assert must_break <= found
        assert not must_keep & found


def test_figures_follow_from_the_drawn_parts() -> None:
    found, world = figures("healthy", 1, 600.0), World(load("healthy"), 1)
    regulator, wiring = world.parts.regulator, world.parts.wiring
    copper = copper_factor(world.parts.room.ambient(60.0))
    # A thousandth of the lead drop is not compensated: series over fallback resistors.
    uncompensated = (wiring.load_leads_ohm * copper + wiring.shunt_ohm) * 1e-3
    expected = regulator.output_resistance_ohm + uncompensated
    assert found["output_resistance"] == pytest.approx(expected, abs=2e-6)
    assert found["load_regulation"] == pytest.approx(3.0 * expected, abs=6e-6)
    assert found["sense_resistance"] == pytest.approx(wiring.residual_ohm * copper, rel=1e-6)
    assert found["sense_error"] == pytest.approx(3.0 * wiring.residual_ohm * copper, rel=1e-6)
    # At half the set voltage the exponential takes the other 15 V.
    half = regulator.limit_current_a + regulator.rounding_current_a * log(15.0 / 0.01)
    half += 15.0 * regulator.limit_conductance_s
    assert found["limit_current"] == pytest.approx(half, abs=4e-3)


def test_drifts_are_consistent_with_one_another() -> None:
    found = figures("healthy", 2, 8 * 3600.0)
    assert found["drift"] <= found["drift_span"] <= 2.0 * found["drift_about_mean"]
    assert found["knee_onset"] < found["knee_current"] < found["limit_current"]
    assert found["limit_current"] < found["short_current"]
    assert found["knee_sharpness"] == found["knee_onset"] / found["knee_current"]


def test_truth_is_the_same_every_time() -> None:
    scenario = load("healthy")
    stated = scenario.stated.model_copy(update={"soak": Uncertain(600.0)})
    short = scenario.model_copy(update={"stated": stated})
    assert truth(short, 5) == truth(short, 5)
