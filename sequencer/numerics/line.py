"""Straight lines: least squares, weighted least squares, uncertainties in both variables."""

from dataclasses import dataclass

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import (
    EXACT,
    LEAST_SIZE,
    Array,
    Values,
    deviations,
    matching,
    series,
    varying,
)

#: York's iteration converges in a handful of rounds; more means that it does not converge.
_MOST_ROUNDS = 200
_CONVERGED = 1e-14


@dataclass(frozen=True, slots=True)
class StraightLine:
    """A fitted line y = intercept + slope·x.

    Attributes
    ----------
    slope, intercept
        In the unit of y over x, and of y.
    u_slope, u_intercept, covariance
        Standard uncertainties and the covariance of slope and intercept.
    residual_sd
        Standard deviation of the residuals in the unit of y (dof in the denominator); weighted
        with weights of mean 1 where the fit was weighted.
    dof
        Degrees of freedom of the uncertainties; infinite where they come from stated ones.
    widened
        Factor by which stated uncertainties were enlarged because the residuals are larger than
        these explain; 1 where none was needed.
    """

    slope: float
    intercept: float
    u_slope: float
    u_intercept: float
    covariance: float
    residual_sd: float
    dof: float
    points: int
    widened: float = 1.0

    @property
    def correlation(self) -> float:
        """Return the correlation of slope and intercept (0 where either is exact)."""
        scale = self.u_slope * self.u_intercept
        return self.covariance / scale if scale > 0 else 0.0

    def at(self, x: float) -> float:
        """Return the line's value at `x`."""
        return self.intercept + self.slope * x

    def u_at(self, x: float) -> float:
        """Return the standard uncertainty of the line's value at `x` (GUM H.3.3)."""
        variance = self.u_intercept**2 + (x * self.u_slope) ** 2 + 2 * x * self.covariance
        return float(np.sqrt(max(variance, 0.0)))

    def residuals(self, x: Array, y: Array) -> Array:
        """Return y minus the line, shape as x."""
        return y - (self.intercept + self.slope * x)


def fit_line(x: Values, y: Values, u_y: Values | float | None = None) -> StraightLine:
    """Fit y = intercept + slope·x by least squares.

    Parameters
    ----------
    x, y
        Shape (n,), any units; x without error.
    u_y
        Standard uncertainty of each y (or of all), in the unit of y, of errors that are
        independent from point to point. None: taken from the residuals.

    Returns
    -------
    StraightLine
        Without `u_y`: uncertainties from the residuals with n − 2 degrees of freedom. With it:
        from the stated values, infinite degrees of freedom, unless the residuals are larger than
        these explain; then enlarged by the Birge ratio, `widened` says by how much, with n − 2
        degrees of freedom.

    Raises
    ------
    FigureError
        For fewer than 3 points (2 with `u_y`), values that are not finite, x all alike, or, without
        `u_y`, y all alike or on one line to the last digit: their scatter is unknown then.

    Notes
    -----
    GUM (JCGM 100:2008) H.3; weights 1/u² as in Draper and Smith, Applied
    Regression Analysis, ch. 9.

    Examples
    --------
    >>> found = fit_line([0.0, 1.0, 2.0, 3.0], [30.000, 29.998, 29.997, 29.994])
    >>> f"{found.slope * 1e3:.2f} mV/A, u {found.u_slope * 1e3:.2f} mV/A, {found.dof:.0f} dof"
    '-1.90 mV/A, u 0.26 mV/A, 2 dof'
    """
    xs = series("x of the line", x, 2 if u_y is not None else 3)
    ys = matching("y of the line", y, "x", xs)
    weights = np.ones(xs.size)
    if u_y is None:
        varying("y of the line", ys)
    else:
        weights = 1 / deviations("u of y", u_y, "y", ys) ** 2
    total = weights.sum()
    x_mean = float(weights @ xs / total)
    y_mean = float(weights @ ys / total)
    dx = xs - x_mean
    spread = float(weights @ dx**2)
    if not _distinct(xs):
        raise FigureError(
            f"x of the line: all {xs.size} values are {xs[0]:g}; expected at least two different "
            "ones. Measure at more than one level."
        )
    slope = float(weights @ (dx * (ys - y_mean))) / spread
    intercept = y_mean - slope * x_mean
    residuals = ys - y_mean - slope * dx
    dof = xs.size - 2
    chi_square = float(weights @ residuals**2)
    if u_y is None:
        _scattered(residuals, ys)
        scale = chi_square / dof
        widened, nu = 1.0, float(dof)
    else:
        scale = max(1.0, chi_square / dof) if dof > 0 else 1.0
        widened, nu = float(np.sqrt(scale)), float(dof) if scale > 1 else float("inf")
    mean_weight = total / xs.size
    return StraightLine(
        slope=slope,
        intercept=intercept,
        u_slope=float(np.sqrt(scale / spread)),
        u_intercept=float(np.sqrt(scale * (1 / total + x_mean**2 / spread))),
        covariance=-scale * x_mean / spread,
        residual_sd=float(np.sqrt(chi_square / mean_weight / dof)) if dof > 0 else 0.0,
        dof=nu,
        points=xs.size,
        widened=widened,
    )


def fit_line_both(x: Values, y: Values, u_x: Values | float, u_y: Values | float) -> StraightLine:
    """Fit a straight line to points with independent uncertainties in x and in y.

    Parameters
    ----------
    x, y
        Shape (n,), any units.
    u_x, u_y
        Standard uncertainties, shape (n,) or one number, above zero.

    Returns
    -------
    StraightLine
        Uncertainties from the stated ones, enlarged by the Birge ratio where the residuals are
        larger (`widened`, then n − 2 degrees of freedom).

    Raises
    ------
    FigureError
        For fewer than 3 points, values not finite, x all alike, or no convergence.

    Notes
    -----
    D. York et al., "Unified equations for the slope, intercept, and standard errors of the best
    straight line", Am. J. Phys. 72 (2004) 367, with no correlation between x and y errors.

    Examples
    --------
    Pearson's data with York's weights as in the source: slope −0.4805, intercept 5.4799.

    >>> x = [0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4]
    >>> y = [5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5]
    >>> w_x = [1000.0, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1]
    >>> w_y = [1.0, 1.8, 4, 8, 20, 20, 70, 70, 100, 500]
    >>> found = fit_line_both(x, y, [w**-0.5 for w in w_x], [w**-0.5 for w in w_y])
    >>> round(found.slope, 4), round(found.intercept, 4)
    (-0.4805, 5.4799)
    """
    xs = series("x of the line", x, 3)
    ys = matching("y of the line", y, "x", xs)
    var_x = deviations("u of x", u_x, "x", xs) ** 2
    var_y = deviations("u of y", u_y, "y", ys) ** 2
    slope = fit_line(xs, ys, u_y).slope
    for _ in range(_MOST_ROUNDS):
        weights = 1 / (var_y + slope**2 * var_x)
        x_bar = float(weights @ xs / weights.sum())
        y_bar = float(weights @ ys / weights.sum())
        dx, dy = xs - x_bar, ys - y_bar
        beta = weights * (dx * var_y + slope * dy * var_x)
        along = float((weights * beta) @ dx)
        if abs(along) < np.finfo(float).tiny:
            raise FigureError(
                "line with uncertainties in both variables: x values differ too little to compute "
                "with. Expected numbers in SI units."
            )
        new_slope = float((weights * beta) @ dy) / along
        if abs(new_slope - slope) <= _CONVERGED * max(abs(new_slope), abs(slope)):
            break
        slope = new_slope
    else:
        raise FigureError(
            f"line with uncertainties in both variables: no convergence after {_MOST_ROUNDS} "
            "rounds. The points do not look like a straight line within their uncertainties."
        )
    slope = new_slope
    intercept = y_bar - slope * x_bar
    total = float(weights.sum())
    adjusted = x_bar + beta
    centre = float(weights @ adjusted) / total
    var_slope = 1 / float(weights @ (adjusted - centre) ** 2)
    dof = xs.size - 2
    residuals = ys - intercept - slope * xs
    scale = max(1.0, float(weights @ residuals**2) / dof)
    return StraightLine(
        slope=slope,
        intercept=intercept,
        u_slope=float(np.sqrt(scale * var_slope)),
        u_intercept=float(np.sqrt(scale * (1 / total + centre**2 * var_slope))),
        covariance=-scale * centre * var_slope,
        residual_sd=float(np.sqrt(residuals @ residuals / dof)),
        dof=float(dof) if scale > 1 else float("inf"),
        points=xs.size,
        widened=float(np.sqrt(scale)),
    )


def _scattered(residuals: Array, ys: Array) -> None:
    """Refuse points that lie on a line but for the rounding of numbers."""
    if float(np.abs(residuals).max()) <= EXACT * float(np.abs(ys).max()):
        raise FigureError(
            f"y of the line: all {ys.size} lie on one line to the last digit; their scatter is "
            "unknown. State their uncertainty, the display's step at least."
        )


def _distinct(xs: Array) -> bool:
    """Return whether x spreads by more than rounding does, and its square is not lost."""
    return float(np.ptp(xs)) > max(1e-12 * float(np.abs(xs).max()), LEAST_SIZE)
