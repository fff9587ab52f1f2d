"""The greatest departure among noisy ones: its bias, and its uncertainty."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from sequencer.numerics.checks import Array, Values, deviations, matching, not_negative, series

#: Points of the integral over the maximum's distribution; the integrand is smooth, so its error
#: is far below a thousandth of the noise.
_GRID = 81
#: Standard deviations beyond the greatest departure at which the distribution is taken to end.
_REACH = 8.0
#: Halvings in the search for the shrinkage: to a thousandth.
_HALVINGS = 10
#: How seldom noise leaves so much beside a model before it counts as not explaining the values.
_LEAST_LIKELY = 1e-3
#: Nodes and weights of the quadrature over a common normal value: what matters is how the two sides
#: change places, which is smooth.
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(5)
_WEIGHTS = _WEIGHTS / _WEIGHTS.sum()
#: Share of the correction that stands in the budget: it rests on departures that hold noise.
_DOUBT = 0.5
#: The same where neighbours were averaged to find their shape, or a model gave it.
_DOUBT_IN_ORDER = 0.3


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
        Standard uncertainty of the correction: half of it, three tenths where in order or by a
        model.
    u_common
        Standard uncertainty by what is common to all departures, such as the noise of the value
        that all are taken from; zero where none was stated.
    """

    value: float
    observed: float
    index: int
    bias: float
    u: float
    u_bias: float
    u_common: float = 0.0


def greatest_departure(
    departures: Values,
    u: Values | float,
    *,
    in_order: bool = False,
    u_common: float = 0.0,
    model: Values | None = None,
    fitted: int = 0,
) -> Maximum:
    """Return the greatest |departure| with the lift by noise removed.

    The greatest of many noisy values is on average greater than the greatest of the true ones:
    each value gets its chance to be lifted. The true departures are taken as the ones seen, shrunk
    by the factor for which noise of the stated size would on average give the greatest that was
    seen; the lift is what noise adds to these. Where one point stands clear of the others it is
    nothing and the uncertainty is that point's own; where many lie together (a flat curve, a
    broad peak) it matters, and is taken off. The correction is an estimate: half of it enters
    the budget, three tenths where neighbours could be averaged.

    Parameters
    ----------
    departures
        Shape (n,), any unit.
    u
        Standard uncertainty of each (or all) from noise that is independent between them. Zero
        is allowed: no lift, no uncertainty from this part. What is common to all (noise of the
        common reference, gain) does not belong here.
    in_order
        Whether the departures follow each other in time, so that neighbours may be averaged to
        find the true shape as far as noise allows.
    u_common
        Standard uncertainty of what all departures are taken from. Where they stand on one side of
        it, it moves the greatest as it is; where on both sides, it lifts the greatest whichever way
        it goes, and moves it less: both are taken into account.
    model
        Shape (n,). What something that is known of them makes of the true departures, such as the
        straight line that two meters' difference follows: it holds less of their noise, as
        averaging neighbours does. Used where it explains them: where noise of the stated size would
        leave as much beside it once in a thousand times at least.
    fitted
        How many parameters of the model these departures gave.

    Raises
    ------
    FigureError
        For no departures, values that are not finite, a model of another length, or a `u_common`
        that is not finite or below zero.

    Notes
    -----
    The maximum of independent normal magnitudes has the product of their distribution functions
    (order statistics; David and Nagaraja, Order Statistics, 3rd ed., 5.1); mean and variance are
    integrated from it. Matching the mean to the value seen: method of moments, common practice.
    """
    values = series("departures", departures, 1)
    index = int(np.argmax(np.abs(values)))
    observed = float(abs(values[index]))
    not_negative("u_common of the departures", u_common)
    if np.ndim(u) == 0 and u == 0:
        return Maximum(observed, observed, index, 0.0, 0.0, 0.0, u_common)
    spread = deviations("u of the departures", u, "departures", values)
    shape, known = values, in_order
    if in_order:
        shape = smoothed(values, spread)
    if model is not None:
        told = matching("the model", model, "departures", values)
        if _explains(told, values, spread, fitted):
            shape, known = told, True

    def moments(share: float) -> tuple[float, float, float, float]:
        centres = share * shape
        return (float(np.abs(centres).max()), *_moments_of_all(centres, spread, u_common))

    bias, sd, net = _matched(moments, observed)
    found = _maximum(observed, index, bias, (sd, float(spread[index])), known=known)
    # As for one point's noise: what the net effect lacks is known no better than the shape.
    common = float(np.sqrt((net**2 + u_common**2) / 2.0))
    return replace(found, u_common=common)


def _explains(model: Array, values: Array, spread: Array, fitted: int) -> bool:
    """Tell whether noise of the stated size may have left what stands beside the model.

    By the sum of squares (chi-square); a model with a parameter for each value explains all.
    """
    left = float(np.sum(((values - model) / spread) ** 2))
    freedom = values.size - fitted
    return freedom <= 0 or float(special.chdtrc(freedom, left)) >= _LEAST_LIKELY


def _moments_of_all(centres: Array, spread: Array, u_common: float) -> tuple[float, float, float]:
    """Return mean and standard deviation of the greatest magnitude, and the common noise's part.

    That part (signed) is what the common noise moves the mean by per standard deviation; the
    standard deviation is that of all the rest. Over the common noise by Gauss-Hermite quadrature.
    """
    if u_common == 0.0:
        return (*_moments(np.abs(centres), spread, folded=True), 0.0)
    found = [_moments(np.abs(centres + u_common * x), spread, folded=True) for x in _NODES]
    means, deviation = np.array(found).T
    mean = float(_WEIGHTS @ means)
    net = float(_WEIGHTS @ (means * _NODES))
    variance = float(_WEIGHTS @ (deviation**2 + (means - mean) ** 2)) - net**2
    return mean, float(np.sqrt(max(variance, 0.0))), net


def greatest_span(values: Values, u: Values | float, *, in_order: bool = False) -> Maximum:
    """Return greatest minus least of noisy values, with the lift by noise removed at both ends.

    Parameters and errors as `greatest_departure`; at least two values. `index` is where the
    greatest stands.
    """
    array = series("values", values, 2)
    index = int(np.argmax(array))
    observed = float(np.ptp(array))
    if np.ndim(u) == 0 and u == 0:
        return Maximum(observed, observed, index, 0.0, 0.0, 0.0)
    spread = deviations("u of the values", u, "values", array)
    shape = smoothed(array, spread) if in_order else array
    centred = shape - shape.mean()

    def moments(share: float) -> tuple[float, float, float, float]:
        centres = share * centred
        high, sd_high = _moments(centres, spread, folded=False)
        low, sd_low = _moments(-centres, spread, folded=False)
        return float(np.ptp(centres)), high + low, float(np.hypot(sd_high, sd_low)), 0.0

    bias, sd, _ = _matched(moments, observed)
    own = float(spread[index]) * np.sqrt(2)
    return _maximum(observed, index, bias, (sd, own), known=in_order)


def _maximum(
    observed: float, index: int, bias: float, spreads: tuple[float, float], *, known: bool
) -> Maximum:
    """Put the parts together; the correction makes the result little better than one point is.

    `spreads` are the standard deviations of the greatest and of one point. The greatest of many
    alike scatters less than one of them, but what is taken off is then known so badly that with the
    former a flat curve was covered four times in five only. Where neighbours were averaged to find
    the shape, or a model gave it (`known`), less is unknown: the mean of both squares covers lines,
    exponentials, humps and walks from nothing to twenty times the noise 95 to 97 times in a
    hundred.
    """
    value = max(observed - bias, 0.0)
    if known:
        u = float(np.sqrt((spreads[0] ** 2 + spreads[1] ** 2) / 2.0))
        return Maximum(value, observed, index, bias, u, _DOUBT_IN_ORDER * bias)
    return Maximum(value, observed, index, bias, max(spreads), _DOUBT * bias)


def smoothed(values: Array, spread: Array) -> Array:
    """Return running means over as many neighbours as noise alone can explain.

    The window doubles as long as the departures from the running mean are no larger than noise of
    the stated size would give (within two standard deviations of their sum of squares).
    """
    best = values
    width = 3
    while width <= values.size:
        kernel = np.ones(width)
        counts = np.convolve(np.ones(values.size), kernel, mode="same")
        means = np.convolve(values, kernel, mode="same") / counts
        left = np.sum(((values - means) / spread) ** 2 / (1 - 1 / counts))
        if left > values.size + 2 * np.sqrt(2 * values.size):
            break
        best = means
        width = 2 * width - 1
    return best


def _matched(
    moments: Callable[[float], tuple[float, float, float, float]], observed: float
) -> tuple[float, float, float]:
    """Return lift, standard deviation and what goes with them at the shrinkage that explains it.

    `moments` gives for a shrinkage the greatest without noise, the mean greatest with it, the
    standard deviation, and one value more.
    """
    true, mean, sd, more = moments(1.0)
    if mean <= observed:
        return max(mean - true, 0.0), sd, more
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        true, mean, sd, more = moments(middle)
        low, high = (middle, high) if mean < observed else (low, middle)
    return max(mean - true, 0.0), sd, more


def _moments(centres: Array, spread: Array, *, folded: bool) -> tuple[float, float]:
    """Return mean and standard deviation of the greatest of normal values (or magnitudes)."""
    top, widest = float(centres.max()), float(spread.max())
    near = centres > top - 2 * _REACH * widest  # others never become the greatest
    centres, spread = centres[near, None], spread[near, None]
    low = max(top - _REACH * widest, 0.0) if folded else top - _REACH * widest
    grid = np.linspace(low, top + _REACH * widest, _GRID)
    below = special.ndtr((grid - centres) / spread)
    if folded:
        # Others never come out on the other side of zero.
        both = centres[:, 0] + low < _REACH * spread[:, 0]
        below[both] -= special.ndtr((-grid - centres[both]) / spread[both])
    survival = 1 - np.prod(below, axis=0)
    step = float(grid[1] - grid[0])
    mean = low + float(np.trapezoid(survival, dx=step))
    # The rule's error at the lower end, where the integrand begins with a slope (Euler-Maclaurin).
    end = step**2 / 12 * float(survival[0])
    second = 2 * (float(np.trapezoid((grid - low) * survival, dx=step)) + end)
    return mean, float(np.sqrt(max(second - (mean - low) ** 2, 0.0)))
