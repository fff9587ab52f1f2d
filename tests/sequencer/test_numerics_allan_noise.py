"""What a meter adds to an Allan deviation, against the same by random numbers."""

import numpy as np
import pytest

from sequencer.numerics.allan import steps
from sequencer.numerics.allan_noise import (
    lift_by_course,
    lift_by_walk,
    lift_by_white,
    part_of,
)

COUNT, TIMES = 120, 1500
UNIT = np.cumsum(np.random.default_rng(1).standard_normal(COUNT)) * 2.0
"""The unit's own means, which stay the same."""


def variance(values, factor):
    return float(np.mean(steps(values, factor) ** 2) / 2)


def compared(lift, added, factor):
    """Return mean and scatter of the true lift over those stated, each over its own TIMES."""
    true = variance(UNIT, factor)
    lifts, stated = [], []
    for one in added:
        seen = UNIT + one
        lifts.append(variance(seen, factor) - true)
        found = lift(steps(seen, factor))
        stated.append((found.variance, found.u**2))
    mean, square = np.mean(stated, axis=0)
    return np.mean(lifts) / mean, np.std(lifts) / np.sqrt(square)


@pytest.mark.parametrize("factor", [1, 10, 40])
@pytest.mark.parametrize("sd", [0.5, 5.0])
def test_white_noise(factor, sd):
    rng = np.random.default_rng(2)
    added = sd * rng.standard_normal((TIMES, COUNT))
    mean, scatter = compared(lambda s: lift_by_white(s, factor, sd), added, factor)
    assert mean == pytest.approx(1.0, abs=0.15 if sd > 1 else 0.6)
    assert scatter == pytest.approx(1.0, abs=0.15)


@pytest.mark.parametrize("factor", [1, 10])
def test_a_random_walk(factor):
    rng = np.random.default_rng(3)
    fine = 20
    walks = np.cumsum(rng.standard_normal((TIMES, COUNT * fine)), axis=1) * 3.0 / np.sqrt(fine)
    added = walks.reshape(TIMES, COUNT, fine).mean(axis=2)
    mean, scatter = compared(lambda s: lift_by_walk(s, factor, 3.0), added, factor)
    assert mean == pytest.approx(1.0, abs=0.1)
    assert scatter == pytest.approx(1.0, abs=0.2)


@pytest.mark.parametrize(("half", "least"), [(0.2, 0.9), (8.0, 0.25)])
def test_a_course_that_is_followed_by_an_unknown_part(half, least):
    rng = np.random.default_rng(4)
    room = np.sin(np.arange(COUNT) / 7.0)
    added = rng.uniform(-half, half, TIMES)[:, None] * room
    course = steps(room, 10)
    mean, scatter = compared(lambda s: lift_by_course(s, course, half), added, 10)
    if half > 1:
        assert mean == pytest.approx(1.0, abs=0.15)
    # Where it outdoes the unit, what cancels by chance is not taken for little: stated too large.
    assert least < scatter < 1.1


def test_half_of_a_lift_reaches_from_none_to_all():
    lift = lift_by_white(steps(UNIT, 1), 1, 1.0)
    half = part_of(lift, 0.0, 1.0)
    assert half.variance == lift.variance / 2
    assert half.u >= lift.variance / np.sqrt(24)
    assert part_of(lift, 1.0, 1.0) == lift
