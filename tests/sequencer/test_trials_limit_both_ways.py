"""What a limit's way down and way back differ by: chance is none of it."""

import numpy as np
import pytest

from sequencer.numerics.knee import LimitTrace
from sequencer.numerics.limit_figures import Quantity
from sequencer.trials.limit_trace import Traced

NOTHING = (np.array([]), np.array([]))
U = 1e-4


def way(ratio: float) -> LimitTrace:
    return LimitTrace(
        limit_current=None,
        knee_current=None,
        knee_voltage=None,
        knee_onset=None,
        knee_sharpness=None,
        limit_change=None,
        short_current=None,
        foldback_ratio=Quantity(ratio, U, 20.0),
        constant_voltage=None,
        constant_current=None,
        corner=None,
        lowest_voltage=1.0,
    )


def part(down: float, back: float) -> float:
    ways = (way(down), way(back))
    traced = Traced(NOTHING, NOTHING, ways[0], None, None, ways, None, 4, 60.0)
    return traced.between_legs("foldback_ratio")


def test_scatter_of_two_ways_is_not_counted_again_as_a_difference() -> None:
    rng = np.random.default_rng(1)
    squares = [part(*rng.normal(0.9, U, 2)) ** 2 for _ in range(500)]
    # Cut off at zero, d² less its expectation of 2·U² leaves 0.48 of that (half-normal moments).
    assert np.mean(squares) < 0.1 * 0.48 * 2 * U**2 / 4


def test_ways_that_surely_differ_put_half_of_it_into_the_budget() -> None:
    assert part(0.9, 0.9 + 20 * U) == pytest.approx(10 * U, rel=0.01)
