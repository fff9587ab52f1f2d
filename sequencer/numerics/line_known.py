"""A straight line through values whose joint uncertainty is known, by its plain definition."""

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array, Values, matching, series
from sequencer.numerics.line import StraightLine, fit_line

#: What computing leaves of an exact relation, over the greatest number in it.
_ROUNDING = 1e-9


def line_with_covariance(
    x: Values, y: Values, covariance: Array, dof: float = float("inf")
) -> StraightLine:
    """Fit an unweighted least-squares line and propagate a known covariance of y through it.

    For figures defined as the least-squares line through given points (output resistance): a unit
    that is not straight departs from the line, and that departure is a property of the unit, not
    scatter. So the uncertainty comes from the values' own, not from the residuals.

    Parameters
    ----------
    x, y
        Shape (n,), n at least 2, any units.
    covariance
        Shape (n, n), of the y values, for instance `LevelDifferences.covariance`; a row of zeros
        stands for an exact value (the reference level).
    dof
        Degrees of freedom of the covariance.

    Returns
    -------
    StraightLine
        `residual_sd` still tells how far the values are from the line.

    Raises
    ------
    FigureError
        For values that are not finite, x all alike, a covariance of another shape, not symmetric or
        with a negative variance of any sum, or degrees of freedom below 1.

    Notes
    -----
    cov(b) = A·cov(y)·Aᵀ with A the least-squares operator (JCGM 102:2011, 6.2.1.3).
    """
    xs = series("x of the line", x, 2)
    ys = matching("y of the line", y, "x", xs)
    matrix = np.asarray(covariance, dtype=np.float64)
    if matrix.shape != (xs.size, xs.size) or not np.all(np.isfinite(matrix)):
        raise FigureError(
            f"covariance of the line: found shape {matrix.shape}, expected finite numbers of shape "
            f"{(xs.size, xs.size)}."
        )
    if np.any(np.diag(matrix) < 0):
        raise FigureError("covariance of the line: found a negative variance.")
    size = float(np.abs(matrix).max())
    if not np.allclose(matrix, matrix.T, rtol=0.0, atol=_ROUNDING * size):
        raise FigureError("covariance of the line: found a matrix that is not symmetric.")
    if float(np.linalg.eigvalsh(matrix).min()) < -_ROUNDING * size * xs.size:
        raise FigureError(
            "covariance of the line: found correlations that no values have together (a negative "
            "variance of some sum of them)."
        )
    if not dof >= 1.0:
        raise FigureError(f"degrees of freedom of the line: found {dof:g}, expected at least 1.")
    line = fit_line(xs, ys, 1.0)
    design = np.column_stack([np.ones(xs.size), xs])
    operator = np.linalg.pinv(design)
    spread = operator @ matrix @ operator.T
    return StraightLine(
        slope=line.slope,
        intercept=line.intercept,
        u_slope=float(np.sqrt(max(float(spread[1, 1]), 0.0))),
        u_intercept=float(np.sqrt(max(float(spread[0, 0]), 0.0))),
        covariance=float(spread[0, 1]),
        residual_sd=line.residual_sd,
        dof=dof,
        points=xs.size,
    )


def u_of_residuals(x: Values, covariance: Array) -> Array:
    """Return the standard uncertainty of each value's departure from the least-squares line.

    Parameters
    ----------
    x, covariance
        As `line_with_covariance` takes them, which also says what they have to be.

    Notes
    -----
    cov(y − line) = R·cov(y)·Rᵀ with R = 1 − D·A, D the design matrix, A the least-squares operator
    (JCGM 102:2011, 6.2.1.3): the line goes along with the values, so that it is less than theirs.
    """
    xs = series("x of the line", x, 2)
    design = np.column_stack([np.ones(xs.size), xs])
    rest = np.eye(xs.size) - design @ np.linalg.pinv(design)
    spread: Array = np.diag(rest @ covariance @ rest.T)
    return np.asarray(np.sqrt(np.maximum(spread, 0.0)))
