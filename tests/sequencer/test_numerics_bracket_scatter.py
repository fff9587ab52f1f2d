"""What differences between brackets are uncertain by, against what they really scatter by."""

import numpy as np
import pytest

from sequencer.numerics.line_known import line_with_covariance
from sequencer.numerics.pairs import bracketed_differences

LEVELS = np.array([0, 1, 0, 2, 0, 3, 0, 4, 0, 5, 0, 6, 0, 6, 0, 5, 0, 4, 0, 3, 0, 2, 0, 1, 0])
TIMES = 2.5 * np.arange(LEVELS.size)
RUNS = 400
READINGS = 6


def walking(rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    return np.cumsum(rng.standard_normal(shape), axis=1)


def flickering(rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
    """Return means of 1/f noise, its spectrum shaped, over half of the time from visit to visit."""
    runs, visits = shape
    size = 64 * visits
    frequency = np.maximum(np.fft.rfftfreq(size), 1.0 / size)
    spectrum = np.fft.rfft(rng.standard_normal((runs, size))) / np.sqrt(frequency)
    row = np.fft.irfft(spectrum, size)[:, : 8 * visits].reshape(runs, visits, 8)
    return np.asarray(row[:, :, :4].mean(axis=2))


def stated_over_real(wander: np.ndarray, of_readings: float, *, told: bool = True) -> float:
    """Return the mean square of the slope's stated u over that of the slope's error."""
    rng = np.random.default_rng(2)
    stated, errors = [], []
    for row in wander:
        noise = of_readings * rng.standard_normal((READINGS, row.size))
        scatter = float(np.sqrt(np.mean(np.var(noise, axis=0, ddof=1)) / READINGS))
        found = bracketed_differences(
            TIMES, LEVELS, row + noise.mean(axis=0), 0, noise=scatter if told else None
        )
        line = line_with_covariance(
            found.levels, found.differences, found.covariance, dof=found.dof
        )
        stated.append(line.u_slope**2)
        errors.append(line.slope**2)
    return float(np.mean(stated) / np.mean(errors))


@pytest.mark.parametrize(
    ("wander", "of_readings"),
    [(walking, 0.1), (walking, 3.0), (flickering, 0.1), (flickering, 10.0)],
)
def test_a_slope_is_as_uncertain_as_a_wandering_unit_makes_it(wander, of_readings):
    rows = wander(np.random.default_rng(1), (RUNS, LEVELS.size))
    # A mean of 400 squares is good to 7 %; the walk stands for flicker to within a tenth.
    assert stated_over_real(rows, of_readings) == pytest.approx(1.0, abs=0.2)


def test_wander_taken_as_noise_of_the_readings_would_make_a_slope_too_uncertain():
    rows = walking(np.random.default_rng(1), (RUNS, LEVELS.size))
    assert stated_over_real(rows, 0.1, told=False) > 1.2


def test_noise_of_the_readings_keeps_what_brackets_share():
    rows = np.zeros((RUNS, LEVELS.size))
    assert stated_over_real(rows, 1.0) == pytest.approx(1.0, abs=0.2)
    one = np.random.default_rng(4).standard_normal(LEVELS.size)
    known = bracketed_differences(TIMES, LEVELS, one, 0, noise=10.0)
    unknown = bracketed_differences(TIMES, LEVELS, one, 0)
    assert known.covariance == pytest.approx(unknown.covariance)
    assert known.dof == pytest.approx(unknown.dof)
