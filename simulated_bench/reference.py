"""The voltage reference: a number near one by which the whole setting is multiplied.

``ratio = 1 + tempco·(T_ref − 25 °C) + tail·x(t) + flicker(t) + walk(t) + leak(t)
+ ageing·log10(1 + t/t₁)`` with `t` the bench time. `x` is 1 for a cold unit; while there is line
voltage it falls as ``exp(−t/τ)``, without it returns to 1 as ``1 − (1 − x)·exp(−t/τ)``: a unit that
was off for a while warms up again.
Ageing per decade of time: as manufacturers of references state it (common practice, no source).
The leak is a constant rate with its own temperature dependence, doubling every 10 K, as junction
leakage does (common practice, no source).
"""

from dataclasses import dataclass, replace
from math import exp, log10
from typing import Final

from simulated_bench.noise import GridSeries

CALIBRATION_DEGC: Final = 25.0
AGEING_START_S: Final = 3600.0
"""Ageing is counted in decades of hours."""

LEAK_DOUBLING_K: Final = 10.0


@dataclass(frozen=True, slots=True)
class Reference:
    """One unit's reference; all coefficients are relative."""

    tempco_per_k: float
    tail: float
    tail_time_s: float
    ageing_per_decade: float
    leak: float
    leak_time_s: float
    flicker: GridSeries
    walk: GridSeries
    leak_from_s: float = 0.0
    powered: bool = True
    switched_s: float = 0.0
    """Bench time at which the line was last switched."""
    cold: float = 1.0
    """The part `x` of the tail that was left then."""

    def switched(self, time_s: float, *, powered: bool) -> "Reference":
        """Return the reference with the line switched on or off at a bench time."""
        if powered == self.powered:
            return self
        return replace(self, powered=powered, switched_s=time_s, cold=self._coldness(time_s))

    def _coldness(self, time_s: float) -> float:
        fades = exp((self.switched_s - time_s) / self.tail_time_s)
        return self.cold * fades if self.powered else 1.0 - (1.0 - self.cold) * fades

    def ratio(self, time_s: float, reference_degc: float) -> float:
        """Return the reference's value over its nominal value."""
        ratio = (
            1.0
            + self.tempco_per_k * (reference_degc - CALIBRATION_DEGC)
            + self.tail * self._coldness(time_s)
            + self.flicker.at(time_s)
            + self.walk.at(time_s)
            + self.ageing_per_decade * log10(1.0 + time_s / AGEING_START_S)
        )
        if self.leak and time_s > self.leak_from_s:
            # A charge that leaks away settles; the hotter, the lower the level it settles at.
            heat = 2.0 ** ((reference_degc - CALIBRATION_DEGC) / LEAK_DOUBLING_K)
            ratio -= self.leak * heat * (1.0 - exp((self.leak_from_s - time_s) / self.leak_time_s))
        return ratio
