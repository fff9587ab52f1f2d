"""What a unit moves between readings: how much of it is noise of their mean."""

import numpy as np
import pytest

from sequencer.numerics.minutes import MinuteMeans, minute_means
from sequencer.trials.between_readings import MISSED, between_readings
from sequencer.uncertainty.accuracy import Accuracy

FINE = 200
"""Steps of the curve from one reading to the next."""
READINGS, PERIODS = 12, 40


@pytest.mark.parametrize("ends_at", [1.0, 5.0, 50.0])
def test_the_part_that_readings_miss_of_flicker(ends_at: float) -> None:
    """The formula beside `MISSED`, on flicker made up by its spectrum, at one reading a unit."""
    rng = np.random.default_rng(1)
    count = FINE * READINGS * PERIODS
    frequency = np.fft.rfftfreq(count, 1.0 / FINE)
    shape = np.zeros_like(frequency)
    there = (frequency > 0.0) & (frequency <= ends_at)
    shape[there] = frequency[there] ** -0.5
    missed = seen = 0.0
    for _ in range(40):
        draw = rng.standard_normal(frequency.size) + 1j * rng.standard_normal(frequency.size)
        curve = np.fft.irfft(shape * draw)
        readings = curve[FINE // 2 :: FINE]
        off = readings.reshape(PERIODS, -1).mean(axis=1) - curve.reshape(PERIODS, -1).mean(axis=1)
        missed += float(np.mean(off**2))
        seen += float(np.mean(np.diff(readings) ** 2)) / 2.0 / READINGS
    formula = (np.log(ends_at) + 0.58) / (np.log(ends_at) + 2.41)
    assert missed / seen == pytest.approx(formula, abs=0.07)
    assert MISSED[0] - 0.07 < missed / seen < MISSED[1]


def means(scatter: float) -> MinuteMeans:
    t = np.arange(0.0, 3600.0, 5.0)
    return minute_means(t, 30.0 + scatter * np.random.default_rng(2).standard_normal(t.size))


def meter(noise: float) -> Accuracy:
    return Accuracy(noise=noise)


def test_beyond_the_meters_noise_a_quarter_to_all_of_the_scatter_counts() -> None:
    minutes = means(100e-6)
    found = between_readings(minutes, meter(10e-6))
    rest = minutes.u**2 - (10e-6) ** 2 / minutes.count
    assert np.allclose(found.most.u, minutes.u)
    assert np.allclose(minutes.u**2 - found.least.u**2, 0.75 * rest)
    assert np.allclose(minutes.u**2 - found.likely.u**2, 0.375 * rest)


@pytest.mark.parametrize("noise", [0.0, 1e-3])
def test_all_scatter_is_noise_of_a_meter_that_may_make_it(noise: float) -> None:
    minutes = means(100e-6)
    found = between_readings(minutes, meter(noise))
    for one in (found.least, found.likely, found.most):
        assert np.allclose(one.u, minutes.u)
