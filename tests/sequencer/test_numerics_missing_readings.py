"""One-minute means keep their time when some of a minute's readings are missing."""

import numpy as np
import pytest

from sequencer.numerics.minutes import minute_means

N = 180
T = np.arange(float(N)) + 0.37
WARMING = 30.0 - 400e-6 * np.exp(-T / 40.0)


def without(first: int, count: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    kept = np.ones(N, dtype=bool)
    kept[first : first + count] = False
    return kept


@pytest.mark.parametrize("first", [1, 20, 57, 64, 112])
def test_seconds_without_readings_do_not_move_a_minute_of_a_warming_unit(first: int) -> None:
    whole = minute_means(T, WARMING)
    kept = without(first, 7)
    plain = [WARMING[kept & (np.arange(N) // 60 == minute)].mean() for minute in range(3)]
    found = minute_means(T[kept], WARMING[kept])
    off, plainly_off = (np.abs(means - whole.mean).max() for means in (found.mean, plain))
    assert off < 0.25 * plainly_off
    assert np.abs(found.time - whole.time).max() < 0.5


def test_what_stands_for_others_counts_with_its_noise() -> None:
    noisy = 30.0 + 1e-5 * np.random.default_rng(1).standard_normal(N)
    kept = without(10, 20)
    found, whole = minute_means(T[kept], noisy[kept]), minute_means(T, noisy)
    assert found.u[0] > 1.2 * whole.u[0] * np.sqrt(60 / 40)
    assert found.u[1] == pytest.approx(whole.u[1], rel=0.2)


def test_a_whole_minute_is_the_plain_mean() -> None:
    found = minute_means(T, WARMING)
    assert found.mean == pytest.approx(WARMING.reshape(3, 60).mean(axis=1), rel=1e-15)
    assert found.u == pytest.approx(found.u[0] * np.ones(3))
