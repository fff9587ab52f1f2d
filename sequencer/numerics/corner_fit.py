"""The fit of the rounded corner to measured points, both variables uncertain."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array
from sequencer.numerics.corner import Corner, Distances, corner_from, distances, parameters
from sequencer.numerics.corner_start import starting_values

#: Stated uncertainties are enlarged when the residuals would be so large by chance this rarely.
_SIGNIFICANT = 0.01
#: Fits with the scatter of either side estimated anew; the weights change little after two.
_ROUNDS = 3
#: A point set to the end of the constant-voltage side may read this much more and belong to it.
_BEYOND = 1.02
#: Parameters that mostly the constant-voltage points, or the others, pay for.
_PAID_BY_VOLTAGE = 2
_PAID_BY_CURRENT = 3


@dataclass(frozen=True, slots=True)
class CornerFit:
    """A fitted corner.

    Attributes
    ----------
    corner
        The parameters.
    covariance
        Shape (5, 5), of v0, r, a, g, ln(i_w / 1 A).
    per_sinking
        Shape (5,), how the parameters move per volt by which all points beyond the
        constant-voltage side sink against it, as they do when the unit warms on the way.
    dof
        Infinite where the stated uncertainties explain the residuals, else those of the scatter.
    widened
        Factor by which a stated uncertainty was enlarged because it did not.
    u_current, u_voltage
        Standard uncertainty of a single point as used for the weights.
    """

    corner: Corner
    covariance: Array
    per_sinking: Array
    dof: float
    widened: float
    u_current: float
    u_voltage: float
    points: int


def fit_corner(
    current: Array,
    voltage: Array,
    *,
    level_up_to: float,
    u_current: float | None,
    u_voltage: float | None,
) -> CornerFit:
    """Fit the rounded corner by orthogonal distance.

    Parameters
    ----------
    current, voltage
        Shape (n,), A and V, checked and finite, any order.
    level_up_to
        Current (A) up to which points belong to the constant-voltage side.
    u_current, u_voltage
        Standard uncertainty of one point from what differs from point to point (A, V). None:
        estimated from the residuals of the points that lie on the steep, or on the flat, part of
        the curve. Given: enlarged where these residuals are significantly larger.

    Raises
    ------
    FigureError
        If a side has too few points, the corner was not reached, or the points do not fix it.

    Notes
    -----
    P. T. Boggs and J. E. Rogers, "Orthogonal distance regression", Contemporary Mathematics 112
    (1990) 183; the nearest point of the curve is eliminated for each trial of the parameters.
    Covariance: inverse of JᵀJ with the Jacobian of the distances.
    """
    start, from_current, from_voltage = starting_values(current, voltage, level_up_to)
    floor = np.finfo(float).eps * 10
    scale_i = u_current or max(from_current, floor * level_up_to)
    scale_v = u_voltage or max(from_voltage, floor * abs(start.v0))
    for _ in range(_ROUNDS):
        solved = _solve(start, current, voltage, level_up_to, (scale_i, scale_v))
        start = solved.corner
        steep = solved.in_current
        new_i, dof_i = _scale(solved.residuals[steep], scale_i, u_current, _PAID_BY_CURRENT)
        new_v, dof_v = _scale(solved.residuals[~steep], scale_v, u_voltage, _PAID_BY_VOLTAGE)
        if new_i == scale_i and new_v == scale_v:
            break
        scale_i, scale_v = new_i, new_v
    else:
        solved = _solve(start, current, voltage, level_up_to, (scale_i, scale_v))
    widened = max(
        scale_i / u_current if u_current else 1.0, scale_v / u_voltage if u_voltage else 1.0
    )
    return CornerFit(
        corner=solved.corner,
        covariance=solved.covariance,
        per_sinking=solved.per_sinking,
        dof=min(dof_i, dof_v),
        widened=widened,
        u_current=scale_i,
        u_voltage=scale_v,
        points=current.size,
    )


@dataclass(frozen=True, slots=True)
class _Solved:
    corner: Corner
    covariance: Array
    per_sinking: Array
    residuals: Array
    in_current: NDArray[np.bool_]


def _solve(
    start: Corner, current: Array, voltage: Array, level_up_to: float, scales: tuple[float, float]
) -> _Solved:
    scale_i, scale_v = scales
    theta0 = parameters(start)
    steps = np.array([scale_v, scale_v / level_up_to, scale_i, scale_i / abs(start.v0), 0.01])

    def at(z: Array) -> Distances:
        return distances(corner_from(theta0 + z * steps), current, voltage, scale_i, scale_v)

    def residuals(z: Array) -> Array:
        return at(z).value

    def jacobian(z: Array) -> Array:
        return np.asarray(at(z).jacobian * steps, dtype=np.float64)

    found = optimize.least_squares(
        residuals, np.zeros(5), jac=jacobian, method="lm", x_scale="jac", max_nfev=300
    )
    last = at(np.asarray(found.x))
    slopes = last.jacobian * steps
    if not found.success or np.linalg.matrix_rank(slopes) < theta0.size:
        raise FigureError(
            "corner: the rounded corner could not be fitted; the points do not fix its shape. "
            "Measure more points between the constant-voltage line and half the set voltage."
        )
    covariance = np.asarray(np.linalg.inv(slopes.T @ slopes) * np.outer(steps, steps), float)
    sinking = np.where(current > _BEYOND * level_up_to, last.per_volt, 0.0)
    return _Solved(
        corner=corner_from(theta0 + found.x * steps),
        covariance=covariance,
        per_sinking=np.asarray(covariance @ (last.jacobian.T @ sinking), dtype=np.float64),
        residuals=last.value,
        in_current=last.in_current,
    )


def _scale(
    residuals: Array, used: float, stated: float | None, unknowns: int
) -> tuple[float, float]:
    """Return the uncertainty of one point on one side, and its degrees of freedom."""
    dof = residuals.size - unknowns
    if dof < 1:
        if stated is None:
            raise FigureError(
                f"corner: {residuals.size} points on one side of it leave no scatter to judge by; "
                "measure more points or state the meters' noise."
            )
        return stated, float("inf")
    chi_square = float(residuals @ residuals)
    seen = used * float(np.sqrt(chi_square / dof))
    if stated is None:
        return seen, float(dof)
    expected = float(special.chdtri(dof, _SIGNIFICANT))
    if (used / stated) ** 2 * chi_square > expected:
        return seen, float(dof)
    return stated, float("inf")
