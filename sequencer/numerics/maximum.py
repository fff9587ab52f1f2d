"""The greatest departure among noisy ones: its bias, and its uncertainty."""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array, Values, deviations, series

#: Points of the integral over the maximum's distribution; its error is far below the noise.
_GRID = 2001
#: Standard deviations beyond the greatest departure at which the distribution is taken to end.
_REACH = 8.0


@dataclass(frozen=True, slots=True)
class Maximum:
    """The greatest departure from zero.

    Attributes
    ----------
    value
        Magnitude after the bias was taken off, never below zero.
    observed, index
        The greatest magnitude seen, and where.
    bias
        How much noise lifts the greatest of these departures on average.
    u
        Standard deviation of the greatest departure under the same noise.
    u_bias
        Standard uncertainty of the correction: as large as the correction itself.
    """

    value: float
    observed: float
    index: int
    bias: float
    u: float
    u_bias: float


def greatest_departure(departures: Values, u: Values | float) -> Maximum:
    """Return the greatest |departure| with the lift by noise removed.

    The greatest of many noisy values is on average greater than the greatest of the true ones:
    each value gets its chance to be lifted. The lift is computed from the spread of the maximum
    when noise of the stated size is added once more to the departures seen, and is taken off.
    Where one point stands clear of the others it is nothing and the uncertainty is that point's
    own; where many lie together (a flat curve) it matters. The added noise acts on departures that
    hold noise already, so the correction is an estimate: it enters the budget as large as itself.

    Parameters
    ----------
    departures
        Shape (n,), any unit. What is common to all of them (noise of the common reference, gain)
        does not belong into `u`: add it to the budget separately.
    u
        Standard uncertainty of each (or all) from noise that is independent between them. Zero
        is allowed: no lift, no uncertainty from this part.

    Raises
    ------
    FigureError
        For no departures, or values that are not finite.

    Notes
    -----
    The maximum of independent normal magnitudes has the product of their distribution functions
    (order statistics; David and Nagaraja, Order Statistics, 3rd ed., 5.1); mean and variance are
    integrated from it. Taking off the bias found so is the parametric bootstrap (Efron and
    Tibshirani, An Introduction to the Bootstrap, ch. 10).
    """
    values = series("departures", departures, 1)
    index = int(np.argmax(np.abs(values)))
    observed = float(abs(values[index]))
    if np.ndim(u) == 0 and u == 0:
        return Maximum(observed, observed, index, 0.0, 0.0, 0.0)
    spread = deviations("u of the departures", u, "departures", values)
    mean, sd = _moments(np.abs(values), spread, observed)
    bias = max(mean - observed, 0.0)
    return Maximum(max(observed - bias, 0.0), observed, index, bias, sd, bias)


def greatest_span(values: Values, u: Values | float) -> Maximum:
    """Return greatest minus least of noisy values, with the lift by noise removed at both ends.

    Parameters and errors as `greatest_departure`; at least two values. `index` is where the
    greatest stands.
    """
    array = series("values", values, 2)
    index = int(np.argmax(array))
    observed = float(array.max() - array.min())
    if np.ndim(u) == 0 and u == 0:
        return Maximum(observed, observed, index, 0.0, 0.0, 0.0)
    spread = deviations("u of the values", u, "values", array)
    high, sd_high = _moments(array - array.min(), spread, observed, folded=False)
    low, sd_low = _moments(array.max() - array, spread, observed, folded=False)
    bias = max(high - observed, 0.0) + max(low - observed, 0.0)
    return Maximum(
        value=max(observed - bias, 0.0),
        observed=observed,
        index=index,
        bias=bias,
        u=float(np.hypot(sd_high, sd_low)),
        u_bias=bias,
    )


def _moments(
    centres: Array, spread: Array, observed: float, *, folded: bool = True
) -> tuple[float, float]:
    """Return mean and standard deviation of the greatest of the normal values (or magnitudes)."""
    widest = float(spread.max())
    near = centres > observed - 2 * _REACH * widest  # others never become the greatest
    centres, spread = centres[near], spread[near]
    if centres.size == 0:
        raise FigureError("departures: none to choose the greatest from.")
    low = observed - _REACH * widest
    low = max(low, 0.0) if folded else low
    grid = np.linspace(low, observed + _REACH * widest, _GRID)
    log_product = np.zeros(_GRID)
    for centre, sd in zip(centres, spread, strict=True):
        below = stats.norm.cdf((grid - centre) / sd)
        if folded:
            below = below - stats.norm.cdf((-grid - centre) / sd)
        log_product += np.log(np.maximum(below, np.finfo(float).tiny))
    survival = 1 - np.exp(log_product)
    step = float(grid[1] - grid[0])
    mean = low + float(np.trapezoid(survival, dx=step))
    second = 2 * float(np.trapezoid((grid - low) * survival, dx=step))
    return mean, float(np.sqrt(max(second - (mean - low) ** 2, 0.0)))
