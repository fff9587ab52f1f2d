"""What a meter's own noise and wander make of an Allan deviation, and how sure that is.

The readings' deviation is that of the unit and of the meter together. White noise of the means and
a random walk of the meter are known in size, not in course: their mean part of the variance can be
taken off, and what is left uncertain follows from the same two.

May import `sequencer.numerics.checks` only.
"""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from sequencer.numerics.checks import Array

#: Variance of the difference of neighbouring means of a random walk, over that of the walk.
NEIGHBOURS_SHARE = 2.0 / 3.0


@dataclass(frozen=True, slots=True)
class Lift:
    """By how much noise lifts an Allan variance, and the standard deviation of that.

    Both in the squared unit of the values.
    """

    variance: float
    u: float


def lift_by_white(seen: Array, factor: int, sd: float) -> Lift:
    """Return the lift by white noise of `sd` in each value; `seen` are the steps with it."""
    return _lift(seen, np.repeat([-1.0, 1.0], factor) / factor, sd)


def part_of(lift: Lift, least: float, most: float) -> Lift:
    """Return the lift by something of which a part is there, likelier near the middle of both."""
    middle = (least + most) / 2.0
    spread = (most - least) * lift.variance
    return Lift(middle * lift.variance, sqrt(spread**2 / 24.0 + middle * lift.u**2))


def lift_by_walk(seen: Array, factor: int, sd: float) -> Lift:
    """Return the lift by a random walk that goes `sd` (standard deviation) from value to value."""
    rising = (np.arange(factor) + 0.5) / factor
    kernel = np.concatenate([rising, rising[::-1]])
    # As many steps as values stand for a course between them.
    kernel *= sqrt(NEIGHBOURS_SHARE * factor / float(kernel @ kernel))
    return _lift(seen, kernel, sd)


def lift_by_course(seen: Array, course: Array, half_width: float) -> Lift:
    """Return the lift by a known course times a factor that is within ± `half_width`.

    `course` are the steps of what is added, such as the room's temperature for a meter that follows
    it; the factor is rectangular.

    With steps d + c·r the square gains 2c·d·r + c²·r². What is seen of d·r is right by chance where
    both cancel, so c·r² stands beside it.
    """
    of_square = half_width**2 / 3.0
    own = of_square * float(course @ course)
    crossed = of_square * float(seen @ course) ** 2
    return Lift(
        variance=own / (2.0 * seen.size),
        u=sqrt(4.0 * crossed + (4.0 + _OF_A_SQUARE) * own**2) / (2.0 * seen.size),
    )


#: Variance of the square of a rectangular value, over the square of its own variance.
_OF_A_SQUARE = 0.8


def _lift(seen: Array, kernel: Array, sd: float) -> Lift:
    """Return mean and standard deviation of what kernel-filtered white noise adds.

    With steps d + e, e = kernel over independent values: E|e|² and the variance of 2d·e + |e|², for
    a quadratic form in normal values. |kernel over d|² is taken from the steps seen, less what e
    itself adds to that.
    """
    count = seen.size
    correlation = np.correlate(kernel, kernel, "full")
    lags = np.abs(np.arange(correlation.size) - (kernel.size - 1))
    pairs = np.maximum(count - lags, 0)
    own = sd**4 * float(pairs @ correlation**2)
    through = sd**2 * float(np.sum(np.convolve(seen, kernel) ** 2))
    crossed = max(through - own, 0.0)
    return Lift(
        variance=sd**2 * float(kernel @ kernel) / 2.0,
        u=sqrt(4.0 * crossed + 2.0 * own) / (2.0 * count),
    )
