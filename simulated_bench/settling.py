"""Which balance the output comes to where a folding limit or a power load leaves several.

The output capacitor's voltage can't jump: from where it stands it moves the way that the surplus
current drives it, ``C·dV/dt = I − I_load``, and stays at the first balance on its way. With `V`
falling as `y` grows: where the load draws more (``h > 0``) the output falls and `y` grows to the
first zero, else it rises and `y` shrinks to the first. Every balance reached like this is stable,
as `h` falls through it; it is the nearest one on that side, so the bench stays on its branch until
the branch ends. So a current load above the short-circuit current of a foldback limit leaves a
running output where it is, but holds an output that starts from zero down.

The way is walked in strides and bisected where `h` comes near zero and turns back between two of
them. At zero volts the load draws nothing, so the way always ends at 0 V or above.
"""

from math import exp, log
from typing import Final

from simulated_bench.characteristic import Circuit, excess, supply
from simulated_bench.newton import SMALL, STIFF_V, converge

NEAR: Final = 0.05
"""A balance as near as this is the one that the bench has been on: nothing else fits between."""

NEAR_ROUNDS: Final = 8
ENOUGH: Final = 1e-9
"""A step of `y` below this changes volts and amperes by less than the tolerance."""

LEAST_STRIDE: Final = 0.5
STRIDE_A: Final = 0.05
STRIDES_OF_OUTPUT: Final = 40.0
"""Strides from the set voltage down to zero."""

MOST_STRIDES: Final = 20000
HALVINGS: Final = 60


def settle(
    c: Circuit, start: float, low: float, *, near: bool, start_a: float | None = None
) -> tuple[float, float, bool]:
    """Return the `y` that the output settles at, its current, and whether there is a balance.

    Without one (nothing comes out even at zero volts) `y` is that of zero volts.

    Parameters
    ----------
    start
        Where the output stands.
    low
        A `y` at which no current flows any more.
    near
        Whether the start is a balance of a moment ago.
    start_a
        The supply's current there, if it is known.
    """
    beside = (
        _near(c, start, start_a)
        if near and low < start < log((2.0 * c.v_cv + 2.0) / c.rounding_v)
        else None
    )
    if beside is not None:
        return beside
    top = y_at_voltage(c, 0.0, low)
    return _walk(c, min(max(start, low), top), low, top)


def y_at_voltage(c: Circuit, volts: float, low: float) -> float:
    """Return the `y` at which the terminals have a voltage; `low` when they never get that far."""
    asked = c.v_cv + c.pair.plus.clamp_v + c.pair.minus.clamp_v
    high = max(log((asked + 1.0) / c.rounding_v), low)
    current, voltage, _, _ = supply(c, low, 0.0)
    if voltage <= volts:
        return low
    y = high
    for _ in range(HALVINGS):
        current, voltage, _, fall = supply(c, y, current)
        if voltage > volts:
            low = y
        else:
            high = y
        following = y - (voltage - volts) / fall if fall < 0.0 else low
        if not low < following < high:
            following = 0.5 * (low + high)
        if abs(following - y) < ENOUGH:
            break
        y = following
    return y


def _near(c: Circuit, start: float, start_a: float | None) -> tuple[float, float, bool] | None:
    """Return the balance beside the start by Newton's method, or nothing if it is not beside."""
    y = start
    if start_a is not None:
        current = start_a
    else:
        current = max(0.0, c.limit_a + c.limit_per_v * c.v_cv + c.rounding_a * min(y, 0.0))
    for _ in range(NEAR_ROUNDS):
        h, slope, current, fall, rate = excess(c, y, current)
        if slope >= 0.0:
            return None
        change = -h / slope
        y += change
        current += rate * change
        if abs(y - start) > NEAR:
            return None
        small = abs(change * fall) < SMALL and abs(change * rate) < SMALL and fall > -STIFF_V
        if small or abs(change) < ENOUGH:  # as in `newton.py`
            return y, current, True
    return None


def _walk(c: Circuit, y: float, low: float, top: float) -> tuple[float, float, bool]:
    """Return the first balance on the way that the surplus current drives the output."""
    h, slope, current, _, _ = excess(c, y, 0.0)
    falling = h > 0.0
    for _ in range(MOST_STRIDES):
        stride = _stride(c, y)
        following = min(y + stride, top) if falling else max(y - stride, low)
        if following == y:
            return y, current, False
        next_h, next_slope, next_current, _, _ = excess(c, following, current)
        beyond: float | None = following
        if (next_h > 0.0) == falling:
            turns = slope < 0.0 < next_slope
            beyond = _beyond(c, y, following, current, falling=falling) if turns else None
        if beyond is not None:
            # On the side of the start, as several may lie in this stride's last bit.
            return converge(c, y, current, min(y, beyond), max(y, beyond))
        y, slope, current = following, next_slope, next_current
    return y, current, False


def _stride(c: Circuit, y: float) -> float:
    if y < 0.0:
        return max(LEAST_STRIDE, min(STRIDE_A / c.rounding_a, -0.5 * y))
    return min(
        LEAST_STRIDE, log(1.0 + (c.v_cv + 1.0) / STRIDES_OF_OUTPUT / (c.rounding_v * exp(y)))
    )


def _beyond(c: Circuit, near: float, far: float, current: float, *, falling: bool) -> float | None:
    """Return a `y` past a balance between two strides where `h` turns back, if it gets there."""
    for _ in range(HALVINGS):
        middle = 0.5 * (near + far)
        h, slope, current, _, _ = excess(c, middle, current)
        if (h > 0.0) != falling:
            return middle
        if slope < 0.0:
            near = middle
        else:
            far = middle
        if abs(far - near) < ENOUGH:
            break
    return None
