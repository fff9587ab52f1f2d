"""The rounded corner between constant voltage and constant current: its curve and its fit.

    V = V0 − R·I − v_w·exp((I − I_L(V))/i_w),   I_L(V) = a + g·V

A transistor that takes over exponentially rounds the corner so. `v_w` and the constant of `I_L`
can't be told apart (a factor on one is a shift of the other), so v_w is fixed at 1 V. With the
parameter s = (I − I_L)/i_w both I and V are explicit, also on a curve that folds back.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array
from sequencer.numerics.line import fit_line

#: V; see above.
CORNER_VOLTAGE = 1.0
#: exp beyond this is of no physical meaning here and would overflow.
_MOST_EXPONENT = 50.0
_PROJECTION_ROUNDS = 25
#: Further steps of the nearest point, in units of s, change no distance that matters.
_PROJECTED = 1e-9
#: Departures from the constant-voltage line this many noise widths deep carry the corner's shape;
#: their logarithm is known to a twentieth, or to a quarter where there are too few of these.
_CLEAR_OF_NOISE = (20.0, 4.0)
_LEAST_LEVEL = 3
_LEAST_BENT = 5


@dataclass(frozen=True, slots=True)
class Corner:
    """The curve's parameters: V, ohm, A, siemens, A."""

    v0: float
    r: float
    a: float
    g: float
    i_w: float

    def point(self, s: Array) -> tuple[Array, Array]:
        """Return current and voltage at the curve's parameter `s` (shape kept)."""
        fall = CORNER_VOLTAGE * np.exp(np.minimum(s, _MOST_EXPONENT))
        current = (self.a + self.g * (self.v0 - fall) + self.i_w * s) / (1 + self.g * self.r)
        return current, self.v0 - self.r * current - fall

    def current_at(self, voltage: Array) -> Array:
        """Return the current at voltages below the constant-voltage line, by Newton's method."""
        current = self.a + self.g * voltage
        for _ in range(_PROJECTION_ROUNDS):
            fall = np.maximum(self.v0 - self.r * current - voltage, 1e-9)
            miss = current - self.a - self.g * voltage - self.i_w * np.log(fall / CORNER_VOLTAGE)
            current = current - miss / (1 + self.i_w * self.r / fall)
        return current

    def voltage_at(self, current: Array) -> Array:
        """Return the voltage at currents below the corner's greatest, by bisection."""
        low = (current - self.a - self.g * self.v0) / self.i_w - _MOST_EXPONENT
        high = np.full_like(current, self.top)
        for _ in range(80):
            middle = (low + high) / 2
            below = self.point(middle)[0] < current
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return self.point((low + high) / 2)[1]

    @property
    def top(self) -> float:
        """Return the parameter of the greatest current: where it folds back, else at 0 V."""
        zero = float(np.log(max(self.v0, 1e-3) / CORNER_VOLTAGE))
        if self.g <= 0:
            return zero
        return min(zero, float(np.log(self.i_w / (self.g * CORNER_VOLTAGE))))


@dataclass(frozen=True, slots=True)
class CornerFit:
    """A fitted corner.

    Attributes
    ----------
    corner
        The parameters.
    covariance
        Shape (5, 5), of v0, r, a, g, ln(i_w / 1 A).
    dof
        Infinite where the stated uncertainties explain the residuals, else n − 5.
    widened
        Factor by which they were enlarged because they did not.
    u_current, u_voltage
        Standard uncertainty of a single point as used for the weights.
    """

    corner: Corner
    covariance: Array
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
    """Fit the rounded corner by orthogonal distance, both variables uncertain.

    Parameters
    ----------
    current, voltage
        Shape (n,), A and V, checked and finite, any order.
    level_up_to
        Current (A) up to which points belong to the constant-voltage side.
    u_current, u_voltage
        Standard uncertainty of one point from what differs from point to point (A, V). None: from
        the scatter on either side. Given: enlarged where the scatter on that side is larger.

    Raises
    ------
    FigureError
        If a side has too few points, the corner was not reached, or the fit does not converge.

    Notes
    -----
    Starting values: a line through the constant-voltage side gives v0 and r; with these,
    I = a + g·V + i_w·ln(v0 − r·I − V) is linear in what is left. Then the weighted distances to
    the curve are made least (P. T. Boggs and J. E. Rogers, Contemp. Math. 112 (1990) 183; the
    nearest point of the curve is eliminated for each trial of the parameters).
    """
    start, from_current, from_voltage = _start(current, voltage, level_up_to)
    scale_i = max(u_current or 0.0, from_current)
    scale_v = max(u_voltage or 0.0, from_voltage)
    if scale_i <= 0 or scale_v <= 0:
        raise FigureError(
            "corner: the points have no scatter at all and no uncertainty is stated; state the "
            "meters' noise or resolution."
        )

    def distances(theta: Array) -> Array:
        return _distances(_corner(theta), current, voltage, scale_i, scale_v)

    theta0 = np.array([start.v0, start.r, start.a, start.g, np.log(start.i_w)])
    steps = np.array([scale_v, scale_v / level_up_to, scale_i, scale_i / abs(start.v0), 0.01])

    # Differences below this share of a parameter's own scale drown in the projection's rounding.
    def scaled_distances(z: Array) -> Array:
        return distances(theta0 + z * steps)

    found = optimize.least_squares(
        scaled_distances,
        np.zeros(5),
        method="lm",
        diff_step=np.full(5, 1e-4),
        x_scale="jac",
        max_nfev=600,
    )
    theta = theta0 + found.x * steps
    jacobian = _jacobian(distances, theta, steps)
    dof = current.size - theta.size
    chi_square = float(found.fun @ found.fun)
    if not found.success or np.linalg.matrix_rank(jacobian * steps) < theta.size:
        raise FigureError(
            "corner: the rounded corner could not be fitted; the points do not fix its shape. "
            "Measure more points between the constant-voltage line and half the set voltage."
        )
    scaled = jacobian * steps
    covariance = np.linalg.inv(scaled.T @ scaled) * np.outer(steps, steps)
    stated = u_current is not None and u_voltage is not None
    ratio = chi_square / dof
    factor = max(1.0, ratio)
    enlarged = stated and (scale_i > (u_current or 0.0) or scale_v > (u_voltage or 0.0))
    return CornerFit(
        corner=_corner(theta),
        covariance=covariance * factor,
        dof=float("inf") if stated and factor == 1.0 and not enlarged else float(dof),
        widened=float(np.sqrt(factor)),
        u_current=scale_i,
        u_voltage=scale_v,
        points=current.size,
    )


def _corner(theta: Array) -> Corner:
    v0, r, a, g, log_width = (float(one) for one in theta)
    return Corner(v0, r, a, g, float(np.exp(np.clip(log_width, -25.0, 5.0))))


def corner_from(theta: Array) -> Corner:
    """Return the corner for the parameters in the order of `CornerFit.covariance`."""
    return _corner(theta)


def parameters(corner: Corner) -> Array:
    """Return the parameters in the order of `CornerFit.covariance`."""
    return np.array([corner.v0, corner.r, corner.a, corner.g, np.log(corner.i_w)])


def _start(current: Array, voltage: Array, level_up_to: float) -> tuple[Corner, float, float]:
    """Return starting values and the scatter of current and voltage on their own sides."""
    level = (current <= level_up_to) & (voltage > voltage.max() / 2)
    if np.count_nonzero(level) < _LEAST_LEVEL:
        raise FigureError(
            f"corner: {np.count_nonzero(level)} points up to {level_up_to:.4g} A stand on the "
            f"constant-voltage side, expected at least {_LEAST_LEVEL}. Measure more of them."
        )
    flat = fit_line(current[level], voltage[level])
    # A soft corner bends the upper part of this side; its lower half is straighter.
    low = level & (current <= level_up_to / 2)
    if np.count_nonzero(low) >= _LEAST_LEVEL:
        lower = fit_line(current[low], voltage[low])
        flat = lower if lower.residual_sd < flat.residual_sd / 2 else flat
    fall = flat.at(0.0) + flat.slope * current - voltage
    noise = max(flat.residual_sd, 1e-6 * abs(flat.intercept))
    for clear in _CLEAR_OF_NOISE:
        bent = (fall > clear * noise) & (current > level_up_to / 4)
        if np.count_nonzero(bent) >= _LEAST_BENT:
            break
    if np.count_nonzero(bent) < _LEAST_BENT:
        raise FigureError(
            f"corner: only {np.count_nonzero(bent)} points lie clearly below the constant-voltage "
            f"line, expected at least {_LEAST_BENT}. The corner was not reached: let the load pull "
            "the output further down."
        )
    design = np.column_stack([np.ones(current.size), voltage, np.log(np.maximum(fall, 1e-12))])[
        bent
    ]
    solution, *_ = np.linalg.lstsq(design, current[bent], rcond=None)
    rest = current[bent] - design @ solution
    dof = rest.size - 3
    scatter = float(np.sqrt(rest @ rest / dof)) if dof > 0 else 0.0
    width = float(solution[2])
    if width <= 0:
        # A sharper corner than its points can show: as narrow as the points' own scatter.
        width = max(scatter, 1e-4 * level_up_to)
    return (
        Corner(flat.intercept, -flat.slope, float(solution[0]), float(solution[1]), width),
        scatter,
        flat.residual_sd,
    )


def _distances(corner: Corner, current: Array, voltage: Array, u_i: float, u_v: float) -> Array:
    """Return the signed distance of each point from the curve in units of its uncertainty."""
    fall = np.maximum(corner.v0 - corner.r * current - voltage, 1e-12)
    by_voltage = np.log(fall / CORNER_VOLTAGE)
    by_current = (current - corner.a - corner.g * voltage) / corner.i_w
    by_current = np.minimum(by_current, np.log(max(2 * abs(corner.v0), 1.0)))

    def square(s: Array) -> Array:
        i, v = corner.point(s)
        return ((current - i) / u_i) ** 2 + ((voltage - v) / u_v) ** 2

    s = np.where(square(by_voltage) < square(by_current), by_voltage, by_current)
    best = square(s)
    damping = np.full(s.size, 1e-3)
    for _ in range(_PROJECTION_ROUNDS):
        i, v = corner.point(s)
        fall = CORNER_VOLTAGE * np.exp(np.minimum(s, _MOST_EXPONENT))
        di = (corner.i_w - corner.g * fall) / (1 + corner.g * corner.r) / u_i
        dv = (-corner.r * di * u_i - fall) / u_v
        gradient = di * (current - i) / u_i + dv * (voltage - v) / u_v
        step = gradient / ((di**2 + dv**2) * (1 + damping) + 1e-300)
        trial = s + np.clip(step, -2.0, 2.0)
        value = square(trial)
        better = value <= best
        s, best = np.where(better, trial, s), np.where(better, value, best)
        damping = np.where(better, damping / 10, damping * 10)
        if float(np.abs(step).max()) < _PROJECTED:
            break
    i, v = corner.point(s)
    # Outside the curve (more current or more voltage than it) counts as positive.
    outward = np.where((current - i) / u_i + (voltage - v) / u_v >= 0, 1.0, -1.0)
    return outward * np.sqrt(best)


def _jacobian(function: Callable[[Array], Array], theta: Array, steps: Array) -> Array:
    """Return central differences of `function`, shape (n, 5)."""
    columns = []
    for index, step in enumerate(steps):
        shift = np.zeros(theta.size)
        shift[index] = 0.05 * step
        columns.append((function(theta + shift) - function(theta - shift)) / (0.1 * step))
    return np.column_stack(columns)
