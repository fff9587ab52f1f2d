"""Newton's method inside a bracket, for the balance of supply and load."""

from typing import Final

from simulated_bench.characteristic import TOLERANCE_A, Circuit, excess

TOLERANCE_V: Final = 1e-10
SMALL: Final = 3e-6
"""Volts or amperes whose square is below the tolerance."""

STIFF_V: Final = 1e-3
"""The output moves by less than this per fold of the limit's current: constant voltage."""

MOST_ROUNDS: Final = 200
PATIENCE: Final = 30
"""Newton steps before plain halving, for characteristics with corners."""


def converge(
    c: Circuit, y: float, current: float, low: float, high: float
) -> tuple[float, float, bool]:
    """Return the balance in a bracket, its current, and whether it was reached.

    Parameters
    ----------
    y, current
        Where to begin, in the bracket, and about what the supply gives there.
    low, high
        Below the balance the load draws more than the supply gives, above it less.
    """
    for rounds in range(MOST_ROUNDS):
        h, slope, current, step_v, step_a = excess(c, y, current)
        if h > 0.0:
            low = y
        else:
            high = y
        following = y - h / slope if slope < 0.0 else 0.5 * (low + high)
        if rounds > PATIENCE or not low <= following <= high:
            following = 0.5 * (low + high)
        change = following - y
        y = following
        current += step_a * change
        by_v, by_a = abs(change * step_v), abs(change * step_a)
        if by_v < TOLERANCE_V and by_a < TOLERANCE_A:
            return y, current, True
        # In constant voltage Newton's next error is of second order, far below the tolerance.
        # Elsewhere the step may have crossed a corner (the load's floor), and it is of first.
        if by_v < SMALL and by_a < SMALL and step_v > -STIFF_V:
            return y, current, True
    return y, current, False
