"""What of a meter's accuracy statement counts in an absolute value, a mean and a difference."""

import math
from types import SimpleNamespace

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import FigureError
from sequencer.trials.brackets import slope_components
from sequencer.uncertainty.accuracy import (
    STABILITY_TIME_S,
    Accuracy,
    absolute,
    difference,
    is_dithered,
    mean_of,
    wander_components,
)
from sequencer.uncertainty.combine import combine, coverage_factor, rectangular, scaled, type_a
from sequencer.uncertainty.figure import make_figure

METER = Accuracy(
    gain=3e-5,
    offset=4e-4,
    noise=2e-5,
    resolution=1e-5,
    temperature_gain=5e-6,
    temperature_offset=2e-5,
    temperature_span=3.0,
    stability_gain=4e-6,
    stability_offset=2e-5,
    thermal_emf=2e-6,
)
SHUNT = Accuracy(offset=2e-6, noise=1e-6, shunt=0.01, shunt_tolerance=1e-3, thermal_emf=1e-6)


def named(components):
    return {part.name: part.contribution for part in components}


def test_offset_cancels_in_a_difference_and_gain_acts_on_it_alone():
    parts = named(difference(METER, 30.0, 29.998, lag_s=10.0))
    assert "offset" not in parts
    assert parts["gain"] == pytest.approx(3e-5 * 2e-3 / math.sqrt(3))
    whole = named(absolute(METER, 30.0))
    assert whole["offset"] == pytest.approx(4e-4 / math.sqrt(3))
    assert whole["gain"] == pytest.approx(30 * 3e-5 / math.sqrt(3))
    assert (
        combine(absolute(METER, 30.0)).u
        > 20 * combine(difference(METER, 30.0, 29.998, lag_s=10.0)).u
    )


def test_difference_agrees_with_gtc_carrying_the_correlation():
    # The same meter in GTC: one gain error and one offset common to both readings.
    plain = Accuracy(gain=3e-5, offset=4e-4, noise=2e-5, resolution=1e-5)
    gain = GTC.ureal(0, GTC.type_b.uniform(3e-5))
    offset = GTC.ureal(0, GTC.type_b.uniform(4e-4))

    def reading(true):
        noise, rounding = GTC.ureal(0, 2e-5), GTC.ureal(0, GTC.type_b.uniform(0.5e-5))
        return true * (1 + gain) + offset + noise + rounding

    ours = combine(difference(plain, 30.0, 29.0, lag_s=0.0)).u
    assert ours == pytest.approx(GTC.uncertainty(reading(29.0) - reading(30.0)), rel=1e-9)
    assert combine(absolute(plain, 30.0)).u == pytest.approx(
        GTC.uncertainty(reading(30.0)), rel=1e-9
    )


def test_noise_averages_and_dithers_the_resolution():
    one, many = named(mean_of(METER, 30.0, 1)), named(mean_of(METER, 30.0, 100))
    assert many["noise"] == pytest.approx(one["noise"] / 10)
    assert many["resolution"] == pytest.approx(one["resolution"] / 10)
    assert many["offset"] == one["offset"]


def test_quiet_meter_does_not_average_its_rounding():
    coarse = Accuracy(noise=1e-6, resolution=1e-3)
    assert (
        named(mean_of(coarse, 1.0, 100))["resolution"] == named(absolute(coarse, 1.0))["resolution"]
    )


def test_scatter_stands_in_place_of_stated_noise():
    parts = named(mean_of(METER, 30.0, 10, scatter=type_a("scatter", 3e-6, 9)))
    assert "noise" not in parts
    assert parts["scatter"] == 3e-6


def test_wander_grows_with_time_and_follows_the_room():
    day = named(wander_components(METER, 30.0, lag_s=STABILITY_TIME_S))
    assert day["gain stability"] == pytest.approx(30 * 4e-6 / math.sqrt(3))
    short = named(wander_components(METER, 30.0, lag_s=STABILITY_TIME_S / 100))
    assert short["gain stability"] == pytest.approx(day["gain stability"] / 10)
    warm = named(wander_components(METER, 30.0, lag_s=0.0, temperature_change_k=2.0))
    assert warm["gain following the room"] == pytest.approx(30 * 1e-5 / math.sqrt(3))
    assert "gain stability" not in warm


def test_shunt_turns_volts_into_amperes():
    parts = named(absolute(SHUNT, 3.0))
    assert parts["shunt value"] == pytest.approx(3e-3 / math.sqrt(3))
    assert parts["offset"] == pytest.approx(2e-4 / math.sqrt(3))
    assert parts["noise"] == pytest.approx(1e-4)


@given(st.floats(-10, 10).filter(lambda x: abs(x) > 1e-3))
def test_sensitivity_scales_everything(sensitivity):
    plain = combine(difference(METER, 3.0, 2.9, lag_s=60)).u
    through = combine(difference(METER, 3.0, 2.9, lag_s=60, sensitivity=sensitivity)).u
    assert through == pytest.approx(abs(sensitivity) * plain)
    assert combine(scaled(difference(METER, 3.0, 2.9, lag_s=60), sensitivity)).u == pytest.approx(
        through
    )


def test_budget_of_a_real_meter_covers():
    # Meters drawn at random inside the statement; U must cover at least 95 %, and not wildly more.
    rng = np.random.default_rng(1)
    plain = Accuracy(gain=3e-5, offset=4e-4, noise=1e-4, resolution=1e-5)
    expanded = combine(absolute(plain, 30.0)).expanded
    gain, offset = rng.uniform(-3e-5, 3e-5, 4000), rng.uniform(-4e-4, 4e-4, 4000)
    seen = np.round((30 * (1 + gain) + offset + 1e-4 * rng.standard_normal(4000)) / 1e-5) * 1e-5
    share = np.mean(np.abs(seen - 30) <= expanded)
    # Four standard deviations of a binomial share of 4000 about 95.45 %.
    assert 0.941 <= share <= 0.968


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Accuracy(gain=-1e-5), "not below zero"),
        (lambda: Accuracy(noise=float("nan")), "not below zero"),
        (lambda: Accuracy(shunt=0.0), "above zero"),
        (lambda: mean_of(METER, 1.0, 0), "at least 1"),
        (lambda: difference(METER, 1.0, 2.0, lag_s=-1.0), "not\\s+below zero"),
        (lambda: type_a("x", 1.0, 0.5), "Take more readings"),
        (lambda: type_a("x", float("inf"), 5), "finite"),
        (lambda: coverage_factor(0.0), "at least 1"),
        (lambda: combine([]), "every component is zero"),
        (lambda: combine([rectangular("x", 0.0)]), "every component is zero"),
        (lambda: make_figure("t", "drift", float("nan"), "V", [type_a("x", 1, 5)]), "finite"),
        (lambda: make_figure("t", "drift", 1.0, "V", []), "drift: uncertainty"),
    ],
)
def test_refusals(call, says):
    with pytest.raises(FigureError, match=says):
        call()


def test_figure_states_its_factor():
    figure = make_figure("t", "drift", 1.0, "V", [type_a("x", 0.1, 4), rectangular("y", 0.0)])
    assert figure.dof == 4
    assert figure.k == pytest.approx(2.87, abs=0.005)
    assert figure.expanded == pytest.approx(figure.k * 0.1)
    assert [part.name for part in figure.budget] == ["x"]


@pytest.mark.parametrize(
    ("accuracy", "rounded"),
    [
        (Accuracy(gain=1e-3, resolution=10e-3), True),
        (Accuracy(gain=1e-3, resolution=10e-6, noise=15e-6), False),
    ],
)
def test_a_slope_on_a_coarse_display_is_as_unsure_as_its_steps(
    accuracy: Accuracy, rounded: bool
) -> None:
    context = SimpleNamespace(accuracy=lambda _channel: accuracy)
    means = SimpleNamespace(lag_s=10.0, links=0)
    parts = slope_components(context, "voltage.sense", 30.0, means, per_unit=1 / 3.0)  # type: ignore[arg-type]
    assert is_dithered(accuracy) is not rounded
    names = [part.name for part in parts]
    assert names.count("resolution") == names.count("resolution at no load") == int(rounded)
    if rounded:
        # Two readings, each within half a step: a triangle as wide as the step (JCGM 100, 4.3.9).
        steps = [part for part in parts if part.name.startswith("resolution")]
        assert combine(steps).u == pytest.approx(10e-3 / 3.0 / math.sqrt(6.0))
