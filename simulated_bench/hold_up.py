"""The reservoir holding the output up after the line has gone.

``(C + C_out)·dV/dt = −I(V)`` with `I` the current that the operating point draws from the reservoir
at its voltage `V`; the output capacitor takes part only once the pass element is saturated, as the
output is constant before. Time as a function of voltage is a plain integral,
``t = ∫ C·dV/I(V)``, taken by the trapezoidal rule in steps of voltage. It ends where the pass
element has nothing left; from there the output capacitor is alone.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Draw = Callable[[float], tuple[float, bool]]
"""Current from the reservoir at its voltage, and whether the pass element is saturated."""

STEPS: Final = 200
"""Enough for a thousandth of the time (tests/external/test_physics_transients.py)."""

LEAST_A: Final = 1e-9
LEFT_V: Final = 0.02
"""Over the saturation; below, the output capacitor no longer notices."""


@dataclass(frozen=True, slots=True)
class HoldUp:
    """The reservoir's voltage from a bench time on."""

    from_s: float
    times: NDArray[np.float64]
    volts: NDArray[np.float64]

    @property
    def until_s(self) -> float:
        """Bench time at which the pass element has nothing left."""
        return self.from_s + float(self.times[-1])

    def at(self, time_s: float) -> float:
        """Return the reservoir's voltage at a bench time."""
        return float(np.interp(time_s - self.from_s, self.times, self.volts))


def hold_up(
    from_s: float,
    start_v: float,
    saturation_v: float,
    reservoir_f: float,
    output_f: float,
    draw: Draw,
) -> HoldUp | None:
    """Return how the reservoir empties, or None when it has nothing to give."""
    end_v = saturation_v + LEFT_V
    if start_v <= end_v:
        return None
    volts = np.linspace(start_v, end_v, STEPS + 1)
    per_volt = np.empty(STEPS + 1)
    for index, voltage in enumerate(volts):
        current, saturated = draw(float(voltage))
        farads = reservoir_f + (output_f if saturated else 0.0)
        per_volt[index] = farads / max(current, LEAST_A)
    pieces = 0.5 * (per_volt[1:] + per_volt[:-1]) * -np.diff(volts)
    return HoldUp(from_s, np.concatenate([[0.0], np.cumsum(pieces)]), volts)
