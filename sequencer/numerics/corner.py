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


def corner_from(theta: Array) -> Corner:
    """Return the corner for v0, r, a, g, ln(i_w)."""
    v0, r, a, g, log_width = (float(one) for one in theta)
    return Corner(v0, r, a, g, float(np.exp(np.clip(log_width, -25.0, 5.0))))


def parameters(corner: Corner) -> Array:
    """Return the parameters v0, r, a, g, ln(i_w) as an array."""
    return np.array([corner.v0, corner.r, corner.a, corner.g, np.log(corner.i_w)])


def distances(
    corner: Corner, current: Array, voltage: Array, u_i: float, u_v: float
) -> tuple[Array, NDArray[np.bool_]]:
    """Return each point's distance from the curve in units of its uncertainty, and its kind.

    Parameters
    ----------
    current, voltage
        Shape (n,), A and V.
    u_i, u_v
        Standard uncertainty of one current and one voltage.

    Returns
    -------
    distance
        Shape (n,), positive outside the curve.
    in_current
        Shape (n,), True where the curve is so steep that the distance is one of current.
    """
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
    return outward * np.sqrt(best), np.abs(dv) > np.abs(di)
