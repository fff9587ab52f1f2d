"""The two lines of a limit's definitions, straight from the measured points, with no model."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import interpolate

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array
from sequencer.numerics.limit_figures import LEVEL_SHARE, LIMIT_SHARES, LimitDefinition
from sequencer.numerics.line import StraightLine

#: A point set to the end of a region may read this much beyond it and still belong to it.
_BEYOND = 0.01
#: Points on the constant-voltage line stand above this share of the set voltage.
LEVEL_ABOVE = 0.9
#: Visits closer together than this share of a region's width are visits of one point.
_ONE_POINT = 0.01
#: The definitions' lines are taken over even rows of so many points.
_ROW = 201
_LEAST = 3
#: From so many points on neighbours tell a bend from scatter.
_ENOUGH = 7
#: A share of the variance below this does not limit the degrees of freedom.
_NEGLIGIBLE = 1e-6
_TINY = np.finfo(float).tiny


@dataclass(frozen=True, slots=True)
class Region:
    """Points of one region, repeated visits of a point taken together: x rises strictly."""

    x: Array
    y: Array


def on_level(current: Array, voltage: Array, definition: LimitDefinition) -> NDArray[np.bool_]:
    """Return which points belong to the constant-voltage line."""
    top = LEVEL_SHARE * definition.rated_current * (1 + _BEYOND)
    return (current <= top) & (voltage > LEVEL_ABOVE * definition.set_voltage)


def on_limit(voltage: Array, set_voltage: float) -> NDArray[np.bool_]:
    """Return which points belong to the constant-current line."""
    low, high = (share * set_voltage for share in LIMIT_SHARES)
    edge = _BEYOND * set_voltage
    return (voltage >= low - edge) & (voltage <= high + edge)


def level_line(current: Array, voltage: Array, definition: LimitDefinition) -> StraightLine:
    """Return the constant-voltage line, V against I, over even currents.

    Raises
    ------
    FigureError
        If fewer than 3 different points lie on it.
    """
    chosen = on_level(current, voltage, definition)
    top = LEVEL_SHARE * definition.rated_current
    found = np.count_nonzero(chosen)
    return even_line(
        together(current[chosen], voltage[chosen], top),
        (0.0, top),
        f"{found} points on the constant-voltage line (up to {top:.4g} A), expected at least "
        f"{_LEAST} at different currents.",
    )


def limit_line(current: Array, voltage: Array, definition: LimitDefinition) -> StraightLine:
    """Return the constant-current line, I against V, over even voltages.

    Raises
    ------
    FigureError
        If fewer than 3 different points lie on it.
    """
    chosen = on_limit(voltage, definition.set_voltage)
    low, high = (share * definition.set_voltage for share in LIMIT_SHARES)
    return even_line(
        together(voltage[chosen], current[chosen], high - low),
        (low, high),
        f"{np.count_nonzero(chosen)} points between 25 and 75 % of the set voltage, expected at "
        f"least {_LEAST} different ones: the load did not pull the output down far enough.",
    )


def together(x: Array, y: Array, width: float) -> Region:
    """Return the means of repeated visits: both ways pass a point twice, but it is one point.

    Parameters
    ----------
    x, y
        Shape (n,), any order.
    width
        Width of the region in the unit of x.
    """
    order = np.argsort(x, kind="stable")
    x, y = x[order], y[order]
    starts = np.flatnonzero(np.diff(x, prepend=-np.inf) > _ONE_POINT * width)
    if starts.size == 0:
        return Region(x, y)
    count = np.diff(np.append(starts, x.size))
    return Region(np.add.reduceat(x, starts) / count, np.add.reduceat(y, starts) / count)


def even_line(points: Region, ends: tuple[float, float], why: str) -> StraightLine:
    """Return the least-squares line over an even row of the curve through the points.

    Parameters
    ----------
    points
        Measured points, in the order of x.
    ends
        Where the even row begins and ends; it never leaves the measured points.
    why
        What to say where the points are too few.

    Notes
    -----
    A line over a bent region is what the definition says, so a bend is no error in itself; what it
    does between the points is. From 7 points on, neighbours tell bend from scatter (how far a point
    stands off the straight line between them), and the difference between straight and
    shape-preserving cubic interpolation (rectangular) is the error of the unseen bend. With fewer
    points any departure from the line counts as scatter. The line is linear in the points' y, so
    the scatter propagates exactly (JCGM 100, 5.2.2).
    """
    x, y = points.x, points.y
    n = x.size
    if n < _LEAST or not np.ptp(x) > 0:
        raise FigureError(why)
    row = np.linspace(max(ends[0], x[0]), min(ends[1], x[-1]), _ROW)
    if not row[-1] > row[0]:
        raise FigureError(why)
    between = np.stack([np.interp(row, x, one) for one in np.eye(n)], axis=1)
    middle = float(row.mean())
    dx = row - middle
    # Rows of the operator that takes the points' y to the mean's height and to the slope.
    height = between.mean(axis=0)
    incline = dx @ between / float(dx @ dx)
    constant = height - middle * incline
    operator = np.stack([constant, incline])
    straight = operator @ y
    line, unseen = straight, np.zeros(2)
    if n >= _ENOUGH:
        curve = interpolate.PchipInterpolator(x, y)(row)
        bent_slope = float(dx @ curve) / float(dx @ dx)
        line = np.array([float(curve.mean()) - bent_slope * middle, bent_slope])
        unseen = (line - straight) / np.sqrt(3.0)
    residuals = y - line[0] - line[1] * x
    variance, dof = _local_scatter(x, y) if n >= _ENOUGH else _about(residuals)
    scatter = variance * operator @ operator.T
    covariance = scatter + np.outer(unseen, unseen)
    # The unseen bend is a bound, not an estimate: it brings no doubt about its size.
    share = float(np.trace(scatter / np.maximum(np.diag(covariance), _TINY)[:, None])) / 2
    return StraightLine(
        slope=float(line[1]),
        intercept=float(line[0]),
        u_slope=float(np.sqrt(covariance[1, 1])),
        u_intercept=float(np.sqrt(covariance[0, 0])),
        covariance=float(covariance[0, 1]),
        residual_sd=float(np.sqrt(residuals @ residuals / (n - 2))),
        dof=dof / share**2 if share > _NEGLIGIBLE else float("inf"),
        points=n,
    )


def _about(residuals: Array) -> tuple[float, float]:
    """Return the variance of one point about the line, and its degrees of freedom."""
    dof = float(residuals.size - 2)
    return float(residuals @ residuals) / dof, dof


def _local_scatter(x: Array, y: Array) -> tuple[float, float]:
    """Return the variance of one point against its neighbours, and its degrees of freedom.

    A quadratic form in the y, so its degrees of freedom follow from its first two moments
    (F. E. Satterthwaite, Biometrics Bulletin 2 (1946) 110).
    """
    part = (x[1:-1] - x[:-2]) / (x[2:] - x[:-2])
    inner = np.arange(part.size)
    off = np.zeros((part.size, x.size))
    off[inner, inner] = part - 1
    off[inner, inner + 1] = 1.0
    off[inner, inner + 2] = -part
    off /= np.sqrt((off**2).sum(axis=1))[:, None]
    misses = off @ y
    moments = off @ off.T
    return float(misses @ misses) / part.size, part.size**2 / float((moments**2).sum())
