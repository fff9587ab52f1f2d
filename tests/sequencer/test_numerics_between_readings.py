"""What readings that are apart add to an Allan variance: between known kinds of noise."""

from math import nan

import numpy as np
import pytest

from sequencer.numerics.allan import overlapping
from sequencer.numerics.between_readings import Share, missed_share
from sequencer.numerics.minutes import minute_means

MINUTES, FINE = 4000, 60
"""Values a minute that stand for all time."""


def share_of(row: np.ndarray, readings: int, of_meter: float = 0.0) -> tuple[float, Share]:
    """Return the true share of a row of minutes, and what readings out of it tell."""
    read = row[:, :: FINE // readings]
    near, far = (
        float(np.mean((read[:, apart:] - read[:, :-apart]) ** 2)) / 2.0 for apart in (1, 2)
    )
    variances = [
        float(overlapping(each.mean(axis=1), 60.0, (1,)).deviation[0]) ** 2 for each in (read, row)
    ]
    found = missed_share(near + of_meter, far + of_meter, of_meter, 1e9, readings)
    return (variances[0] - variances[1]) * readings / near, found


def exponential(correlation: float) -> np.ndarray:
    rng = np.random.default_rng(3)
    row = np.empty(MINUTES * FINE)
    last = 0.0
    for n, push in enumerate(rng.standard_normal(row.size) * np.sqrt(1 - correlation**2)):
        last = row[n] = correlation * last + push
    return row.reshape(MINUTES, FINE)


def test_of_white_noise_all_is_missed_but_what_all_time_has_itself():
    row = np.random.default_rng(1).standard_normal((MINUTES, FINE))
    true, found = share_of(row, 6)
    assert true == pytest.approx(1 - 6 / FINE, abs=0.1)
    assert found.high == pytest.approx(1.0, abs=0.05)
    assert found.likely == pytest.approx(1.0, abs=0.1)


def test_of_a_walk_it_is_a_third_at_most():
    row = np.cumsum(np.random.default_rng(2).standard_normal(MINUTES * FINE)).reshape(-1, FINE)
    _, found = share_of(row, 6)
    assert found.high == pytest.approx(1 / 3, abs=0.02)
    # By hand: with n steps of variance qΔ the Allan variance is (n/3 + 1/(6n))·qΔ in place of
    # n/3·qΔ, and near is qΔ/2.
    assert missed_share(0.5, 1.0, 0.0, 1e12, 6).likely == pytest.approx(1 / 3, rel=1e-4)


@pytest.mark.parametrize("correlation", [0.85, 0.93])
def test_noise_that_is_smooth_between_readings_is_the_lower_bound(correlation):
    true, found = share_of(exponential(correlation), 12)
    # Within what 4,000 minutes tell of a variance.
    assert true == pytest.approx(found.low, abs=0.08)
    assert true < found.likely < found.high


def test_white_noise_beside_a_walk_is_the_upper_bound():
    rng = np.random.default_rng(6)
    read = np.cumsum(rng.standard_normal(12 * MINUTES)) * 0.5 + rng.standard_normal(12 * MINUTES)
    near, far = (float(np.mean((read[n:] - read[:-n]) ** 2)) / 2.0 for n in (1, 2))
    # Of near, 1 is white and 0.125 a walk's.
    expected = (1.0 + 0.125 / 3) / 1.125
    assert missed_share(near, far, 0.0, 1e9, 12).high == pytest.approx(expected, abs=0.02)


def test_a_meters_own_noise_tells_nothing_of_the_unit():
    row = exponential(0.9)
    _, without = share_of(row, 12)
    _, beside = share_of(row, 12, of_meter=3.0)
    assert beside.likely == pytest.approx(without.likely)
    few = missed_share(10.2, 10.25, 10.0, 100.0, 12)
    assert few.low < 0.1
    assert few.high == 1.0
    assert missed_share(1.0, nan, 0.5, 100.0, 1) == Share(0.0, 0.5, 1.0)
    assert missed_share(1.0, 1.0, 1.0, 100.0, 12) == Share(0.0, 0.5, 1.0)


def test_minutes_tell_how_readings_one_and_two_apart_differ():
    times = np.arange(0.0, 3600.0, 5.0)
    white = np.random.default_rng(7).standard_normal(times.size)
    found = minute_means(times, white)
    assert found.near == pytest.approx(1.0, rel=0.15)
    assert found.far == pytest.approx(1.0, rel=0.15)
    walked = minute_means(times, np.cumsum(white))
    assert walked.far == pytest.approx(2.0 * walked.near, rel=0.15)
    # Across a missing reading neighbours are two cadences apart.
    kept = np.arange(times.size) % 12 != 5
    holed = minute_means(times[kept], np.cumsum(white)[kept])
    assert holed.far == pytest.approx(2.0 * holed.near, rel=0.15)
    assert np.isnan(minute_means(times[::12], white[::12]).far)
