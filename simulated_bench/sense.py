"""Remote sense: what the loop sees of the sense points, and what the sense pair carries.

Per side the sense input draws `i_s`; it is tied to its sense point by the lead with the input's
series resistance (conductance `g_s`) and to its own output terminal by a fallback resistor (`g_f`).
With ``a = g_s/(g_s + g_f)``, ``b = i_s/(g_s + g_f)`` and `d` the drop from the terminal to the
sense point, Kirchhoff's current law gives::

    terminal − input = a·d + b           d·(1 + r·g_f·a) = r·(I + i_s − g_f·b)

Clamping diodes bound ``terminal − input`` to half of the greatest compensable drop on each side.
An open lead leaves ``i_s/g_f``: the output rises until the clamp. Reversed leads pull both inputs
to the wrong side: both clamps conduct, and each lead carries ``g_s·(V − d − clamp)`` across the
output.

All functions of the load current are straight lines between the clamps' corners.
"""

from dataclasses import dataclass
from math import inf
from typing import Literal, NamedTuple

Connection = Literal["connected", "open", "plus open", "minus open", "reversed"]


@dataclass(frozen=True, slots=True)
class SenseInputs:
    """The unit's sense inputs; resistances and current per side."""

    series_ohm: float
    fallback_ohm: float
    current_a: float
    compensable_v: float


class SenseSide(NamedTuple):
    """One side, as lines in the current: lift = l0 + l1·x up to the clamp, drop = d0 + d1·x."""

    lift0: float
    lift1: float
    drop0: float
    drop1: float
    clamp_v: float
    clamped_drop0: float
    clamped_drop1: float

    def at(self, current_a: float) -> tuple[float, float, float, float]:
        """Return lift, its slope, drop and its slope at a load current."""
        lift = self.lift0 + self.lift1 * current_a
        if lift < self.clamp_v:
            return lift, self.lift1, self.drop0 + self.drop1 * current_a, self.drop1
        return (
            self.clamp_v,
            0.0,
            self.clamped_drop0 + self.clamped_drop1 * current_a,
            self.clamped_drop1,
        )


class SensePair(NamedTuple):
    """Both sides, with their sums as long as neither is clamped, below `clamps_from_a`."""

    plus: SenseSide
    minus: SenseSide
    lift0: float
    lift1: float
    drop0: float
    drop1: float
    clamps_from_a: float

    def clamped_lift(self, current_a: float) -> tuple[float, float]:
        """Return lift and its slope with any side clamped."""
        lift_p, slope_p, _, _ = self.plus.at(current_a)
        lift_m, slope_m, _, _ = self.minus.at(current_a)
        return lift_p + lift_m, slope_p + slope_m

    def clamped_drop(self, current_a: float) -> tuple[float, float]:
        """Return drop and its slope with any side clamped."""
        _, _, drop_p, slope_p = self.plus.at(current_a)
        _, _, drop_m, slope_m = self.minus.at(current_a)
        return drop_p + drop_m, slope_p + slope_m


def pair(plus: SenseSide, minus: SenseSide) -> SensePair:
    """Return both sides together."""
    return SensePair(
        plus,
        minus,
        plus.lift0 + minus.lift0,
        plus.lift1 + minus.lift1,
        plus.drop0 + minus.drop0,
        plus.drop1 + minus.drop1,
        min(_clamps_from(plus), _clamps_from(minus)),
    )


def _clamps_from(one: SenseSide) -> float:
    if one.lift0 >= one.clamp_v:
        return -inf
    return (one.clamp_v - one.lift0) / one.lift1 if one.lift1 > 0.0 else inf


def side(
    inputs: SenseInputs, lead_ohm: float, load_lead_ohm: float, *, connected: bool
) -> SenseSide:
    """Return one side of the sense wiring at a load-lead resistance of that side."""
    g_f = 1.0 / inputs.fallback_ohm
    clamp = 0.5 * inputs.compensable_v
    r = load_lead_ohm
    if not connected:
        return SenseSide(inputs.current_a / g_f, 0.0, 0.0, r, clamp, 0.0, r)
    g_s = 1.0 / (inputs.series_ohm + lead_ohm)
    a = g_s / (g_s + g_f)
    b = inputs.current_a / (g_s + g_f)
    spread = 1.0 + r * g_f * a
    drop0, drop1 = r * (inputs.current_a - g_f * b) / spread, r / spread
    loaded = 1.0 + r * g_s
    return SenseSide(
        a * drop0 + b, a * drop1, drop0, drop1, clamp, r * g_s * clamp / loaded, r / loaded
    )
