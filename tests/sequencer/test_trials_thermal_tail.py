"""The unit's own wander beside its thermal tail: what of it two stays show."""

import numpy as np
import pytest

from sequencer.errors import FigureError
from sequencer.requests import Readings
from sequencer.trials.thermal_tail import APART, PARTS, WALK_DOF, WALK_OVER, WINDOW_S, _walk
from sequencer.trials.trial import VOLTAGE, Point

READINGS = 300


def stay(values):
    times = {VOLTAGE: np.arange(float(len(values)))}
    return Point({"part": "tail, load"}, Readings(times, times, {VOLTAGE: np.asarray(values)}))


def test_the_factor_and_its_freedom_are_those_of_a_random_walk():
    """By a walk's covariance: mean and spread of a quadratic form (G. Box, 1954)."""
    walk = np.tril(np.ones((READINGS, READINGS)))
    means = np.array([part.mean(axis=0) for part in np.array_split(walk, PARTS)])
    apart = means[APART:] - means[:-APART]
    about = apart - apart.mean(axis=0)
    matrix = about @ about.T / (len(apart) - 1)
    # From the mean of the first window to that of the last.
    over = READINGS - 4 / 3 * WINDOW_S
    assert pytest.approx(over / np.trace(matrix), rel=0.01) == WALK_OVER
    freedom = 2 * np.trace(matrix) ** 2 / np.trace(matrix @ matrix)
    assert pytest.approx(freedom, rel=0.01) == WALK_DOF


def test_a_walk_is_found_through_noise_and_trend():
    rng, found = np.random.default_rng(3), []
    for _ in range(200):
        stays = []
        for trend in (1e-3, -2e-3):
            walk = np.cumsum(rng.normal(0.0, 10e-6, READINGS))
            noise = 50e-6 * rng.standard_normal(READINGS)
            stays.append(stay(30.0 + walk + noise + trend * np.linspace(0.0, 1.0, READINGS)))
        found.append(_walk(*stays).u ** 2)
    # A mean of 200 with five degrees of freedom is known to 4.5 %.
    assert np.mean(found) == pytest.approx(READINGS * 10e-6**2, rel=0.15)


def test_noise_alone_is_hardly_a_walk():
    rng = np.random.default_rng(4)
    stays = [stay(30.0 + 1e-3 * rng.standard_normal(READINGS)) for _ in range(2)]
    # Its means alone, taken for a walk's, would be 0.64 mV.
    assert 0.0 < _walk(*stays).u < 0.5e-3


def test_too_few_readings_are_refused():
    few = stay(np.linspace(30.0, 30.001, 20))
    with pytest.raises(FigureError, match="20 readings in a stay, expected at least 24"):
        _walk(few, few)


@pytest.mark.parametrize("tau_s", [60.0, 100.0, 300.0])
def test_a_clear_tail_is_no_wander_of_the_unit(tau_s):
    rng = np.random.default_rng(5)
    noise = 15e-6 * rng.standard_normal((2, READINGS))
    tail = 5e-3 * np.exp(-np.arange(float(READINGS)) / tau_s)
    found = _walk(stay(30.0 + noise[0]), stay(30.0 + tail + noise[1]))
    assert found.u < 50e-6
    assert found.dof == pytest.approx(WALK_DOF / 2)


def test_a_stay_with_a_hole_in_it_is_refused():
    good = stay(30.0 + 1e-5 * np.random.default_rng(6).standard_normal(READINGS))
    times = {VOLTAGE: np.where(np.arange(READINGS) < 150, 0.0, 40.0) + np.arange(float(READINGS))}
    holed = Point(good.tag, Readings(times, times, good.readings.value))
    with pytest.raises(FigureError, match="hold no reading"):
        _walk(good, holed)
