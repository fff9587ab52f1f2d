"""The rounded corner between constant voltage and constant current: curve and distances.

    V = V0 − R·I − v_w·exp((I − I_L(V))/i_w),   I_L(V) = a + g·V

A transistor that takes over exponentially rounds the corner so. `v_w` and the constant of `I_L`
can't be told apart (a factor on one is a shift of the other), so v_w is fixed at 1 V. With the
parameter s = (I − I_L)/i_w both I and V are explicit, also on a curve that folds back.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.numerics.checks import Array

#: V; see above.
CORNER_VOLTAGE = 1.0
#: exp beyond this is of no physical meaning here and would overflow.
_MOST_EXPONENT = 50.0
_ROUNDS = 25
#: Further steps of the nearest point, in units of s, change no distance that matters.
_PROJECTED = 1e-9


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
        for _ in range(_ROUNDS):
            fall = np.maximum(self.v0 - self.r * current - voltage, 1e-9)
            miss = current - self.a - self.g * voltage - self.i_w * np.log(fall / CORNER_VOLTAGE)
            current = current - miss / (1 + self.i_w * self.r / fall)
        return current

    def voltage_at(self, current: Array) -> Array:
        """Return the voltage at currents below the corner's greatest, by Newton's method.

        From the straight part's parameter every step stays on one side of the solution.
        """
        straight = (1 + self.g * self.r) * current - self.a - self.g * self.v0
        s = straight / self.i_w
        for _ in range(_ROUNDS):
            fall = CORNER_VOLTAGE * np.exp(np.minimum(s, _MOST_EXPONENT))
            step = (straight - self.i_w * s + self.g * fall) / (self.i_w - self.g * fall)
            s = s + step
            if float(np.abs(step).max()) < _PROJECTED:
                break
        return self.point(s)[1]

    @property
    def top(self) -> float:
        """Return the parameter of the greatest current: where it folds back, else at 0 V."""
        zero = float(np.log(max(self.v0, 1e-3) / CORNER_VOLTAGE))
        if self.g <= 0:
            return zero
        return min(zero, float(np.log(self.i_w / (self.g * CORNER_VOLTAGE))))


def corner_from(theta: Array) -> Corner:
    """Return the corner for v0, r, a, g, ln(i_w)."""
    v0, r, a, g, log_width = (float(one) for one in theta)
    return Corner(v0, r, a, g, float(np.exp(np.clip(log_width, -25.0, 5.0))))


def parameters(corner: Corner) -> Array:
    """Return the parameters v0, r, a, g, ln(i_w) as an array."""
    return np.array([corner.v0, corner.r, corner.a, corner.g, np.log(corner.i_w)])


@dataclass(frozen=True, slots=True)
class Distances:
    """Points against a curve.

    Attributes
    ----------
    value
        Shape (n,), distance from the curve in units of the points' uncertainty, positive outside.
    jacobian
        Shape (n, 5), its derivatives by v0, r, a, g, ln(i_w).
    per_volt
        Shape (n,), its derivative by the point's own voltage.
    in_current
        Shape (n,), True where the curve is so steep that the distance is one of current. The
        constant-voltage side never is, however small the voltages' uncertainty is taken.
    """

    value: Array
    jacobian: Array
    per_volt: Array
    in_current: NDArray[np.bool_]


def distances(corner: Corner, current: Array, voltage: Array, u_i: float, u_v: float) -> Distances:
    """Return each point's distance from the curve, with derivatives.

    Parameters
    ----------
    current, voltage
        Shape (n,), A and V.
    u_i, u_v
        Standard uncertainty of one current and one voltage.

    Notes
    -----
    At the nearest point the connecting line stands at a right angle to the curve, so a parameter
    changes the distance by the curve's shift along that line alone (envelope theorem).
    """
    s = _nearest(corner, current, voltage, u_i, u_v)
    i, v = corner.point(s)
    di, dv = _tangent(corner, s, u_i, u_v)
    length = np.hypot(di, dv) + np.finfo(float).tiny
    # The tangent runs to more current and less voltage; the normal to its left points outside.
    normal_i, normal_v = -dv / length, di / length
    below = 1 + corner.g * corner.r
    fall = CORNER_VOLTAGE * np.exp(np.minimum(s, _MOST_EXPONENT))
    left = corner.v0 - fall - corner.r * i
    one = np.ones_like(s)
    shift_i = np.stack([corner.g * one, -i * corner.g, one, left, corner.i_w * s]) / below
    shift_v = -corner.r * shift_i
    shift_v[0] += 1.0
    shift_v[1] -= i
    return Distances(
        value=normal_i * (current - i) / u_i + normal_v * (voltage - v) / u_v,
        jacobian=-(normal_i * shift_i / u_i + normal_v * shift_v / u_v).T,
        per_volt=normal_v / u_v,
        in_current=(np.abs(dv) > np.abs(di)) & (fall / corner.i_w > abs(corner.r)),
    )


def _tangent(corner: Corner, s: Array, u_i: float, u_v: float) -> tuple[Array, Array]:
    """Return the curve's derivative by `s` in units of the uncertainties."""
    fall = CORNER_VOLTAGE * np.exp(np.minimum(s, _MOST_EXPONENT))
    di = (corner.i_w - corner.g * fall) / (1 + corner.g * corner.r)
    return di / u_i, (-corner.r * di - fall) / u_v


def _nearest(corner: Corner, current: Array, voltage: Array, u_i: float, u_v: float) -> Array:
    """Return the parameter of the curve's nearest point to each point (damped Gauss-Newton)."""
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
    for _ in range(_ROUNDS):
        i, v = corner.point(s)
        di, dv = _tangent(corner, s, u_i, u_v)
        gradient = di * (current - i) / u_i + dv * (voltage - v) / u_v
        step = gradient / ((di**2 + dv**2) * (1 + damping) + 1e-300)
        trial = s + np.clip(step, -2.0, 2.0)
        value = square(trial)
        better = value <= best
        s, best = np.where(better, trial, s), np.where(better, value, best)
        damping = np.where(better, damping / 10, damping * 10)
        if float(np.abs(step).max()) < _PROJECTED:
            break
    return s
