"""How a current limit moves while it is traced, on drawn drifts with noise, and its refusals."""

import numpy as np
import pytest

from sequencer.errors import FigureError
from sequencer.numerics.limit_figures import coverage
from sequencer.numerics.pace import Pace, pace

LEVELS = 12
AT_SEARCH = np.linspace(-140.0, -100.0, LEVELS)
HALF = np.linspace(5.0, 50.0, LEVELS)
TURN = 300.0
NOISE_A = 30e-6


def visits(
    rng: np.random.Generator, rate: float, bend: float, *, noise: float = NOISE_A, back: float = 0.0
) -> list[tuple[np.ndarray, np.ndarray]]:
    level = 3.4 - np.linspace(0.0, 0.02, LEVELS)
    found = []
    for since, more in ((AT_SEARCH, 0.0), (-HALF, 0.0), (HALF, back)):
        moved = level + rate * since + bend * since**2 + more
        found.append((moved + noise * rng.standard_normal(LEVELS), TURN + since))
    return found


def test_without_noise_it_is_exact() -> None:
    found = pace(*visits(np.random.default_rng(1), -6e-7, -2.5e-9, noise=0.0))
    assert found.turning_s == pytest.approx(TURN)
    assert found.rate == pytest.approx(-6e-7)
    assert found.bend.value == pytest.approx(-2.5e-9, rel=1e-6)
    since = np.array([-50.0, 0.0, 20.0])
    assert found.moved(TURN + since) == pytest.approx(-6e-7 * since - 2.5e-9 * since**2)


@pytest.mark.parametrize("noise", [3e-6, 30e-6, 300e-6])
def test_its_uncertainty_covers_the_bend(noise: float) -> None:
    """Drawn as it is expected: the rate came about since the search began, one way or the other."""
    rng = np.random.default_rng(2)
    inside, off = 0, []
    for _ in range(400):
        rate = rng.normal(0.0, 1e-6)
        bend = rng.uniform(-1.0, 1.0) * abs(rate) / -AT_SEARCH[0]
        try:
            found = pace(*visits(rng, rate, bend, noise=noise))
        except FigureError:
            continue  # chance made the way back differ
        off.append((found.bend.value - bend) / found.bend.u)
        inside += abs(off[-1]) <= coverage(found.bend.dof)
    assert len(off) > 380
    assert 0.93 <= inside / len(off) <= 0.995
    assert abs(np.mean(off)) < 0.15


def test_noise_adds_no_more_doubt_than_was_there() -> None:
    loud = pace(*visits(np.random.default_rng(3), -6e-7, -2e-9, noise=1e-3))
    rate_and_doubt = 3.5e-5  # the noise of 1 mA over some seventy seconds, by twelve levels
    assert loud.bend.u < rate_and_doubt / 140.0


def test_a_way_back_that_differs_by_more_than_time_explains_is_refused() -> None:
    """Nobody knows then on which of both the search was."""
    with pytest.raises(FigureError, match=r"differs by 0\.002 A"):
        pace(*visits(np.random.default_rng(4), -6e-7, 0.0, back=2e-3))


def test_two_levels_are_refused() -> None:
    few = [(i[:2], t[:2]) for i, t in visits(np.random.default_rng(5), -6e-7, 0.0)]
    with pytest.raises(FigureError, match="found 2 levels"):
        pace(*few)
    with pytest.raises(FigureError, match="found 0 levels"):
        pace(*([(np.array([]), np.array([]))] * 3))


def test_visits_at_one_distance_are_refused() -> None:
    (search, at), (down, _), (back, _) = visits(np.random.default_rng(6), -6e-7, 0.0)
    flat = np.full(LEVELS, 10.0)
    with pytest.raises(FigureError):
        pace((search, at), (down, TURN - flat), (back, TURN + flat))


def test_a_search_after_both_ways_is_refused() -> None:
    search, down, back = visits(np.random.default_rng(6), -6e-7, 0.0)
    with pytest.raises(FigureError, match="has to lie before"):
        pace((search[0], search[1] + 300.0), down, back)


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), 9.9e37])
def test_what_is_no_number_is_refused(bad: float) -> None:
    rows = visits(np.random.default_rng(7), -6e-7, 0.0)
    rows[1][0][3] = bad
    with pytest.raises(FigureError, match="current, down"):
        pace(*rows)


def test_rows_of_unequal_length_are_refused() -> None:
    (search, at), down, back = visits(np.random.default_rng(8), -6e-7, 0.0)
    with pytest.raises(FigureError, match="different numbers of levels"):
        pace((search[:-1], at[:-1]), down, back)


def test_moved_with_the_bend_off_by_its_uncertainty() -> None:
    found = pace(*visits(np.random.default_rng(9), -6e-7, -2.5e-9))
    assert isinstance(found, Pace)
    more = found.moved(np.array([TURN + 50.0]), bend_off_by=found.bend.u)
    assert more - found.moved(np.array([TURN + 50.0])) == pytest.approx(found.bend.u * 2500.0)
