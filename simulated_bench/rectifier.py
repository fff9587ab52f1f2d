"""From the winding to the reservoir: peak, source resistance, ripple and valley.

``peak = √2·V_sec·(V_line/V_nom) − 2·V_diode``; ripple, full wave ``ΔV = I/(2·f·C)``, half wave
``I/(f·C)`` (first order: the capacitor is taken to supply the load for the whole period; any
textbook of power electronics, such as P. Horowitz and W. Hill, The Art of Electronics, "Ripple
voltage"). ``valley = peak − I·R_s − ripple``.

`R_s` is what the mean current sees. Because the reservoir is charged in short pulses it is about
four times the winding's own resistance. In half-wave operation half as many pulses carry twice the
charge each, but conduct longer. Both factors are from ngspice's transient solution of the bridge,
tests/external/test_physics_rectifier.py, which also states how far the first order is off.

While the reservoir is being charged it does not fall, so the true ripple is a part of the first
order's: 0.74 (full wave) and 0.83 (half wave) at full load by the same solution. `ripple_part`
takes that in; it matters where ripple reaches down to the output.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Final

PULSES_FULL_WAVE: Final = 2
PULSES_HALF_WAVE: Final = 1
HALF_WAVE_SOURCE: Final = 1.4
"""Source resistance seen by the mean current in half-wave over that in full-wave operation."""

RIPPLE_PART_FULL_WAVE: Final = 0.74
RIPPLE_PART_HALF_WAVE: Final = 0.83
"""True ripple over that of first order, at a few amperes."""

DIODES_IN_PATH: Final = 2
"""A bridge conducts through two diodes at a time."""

SAWTOOTH_RMS: Final = 1 / sqrt(12.0)
"""RMS of a sawtooth of peak-to-peak height one."""


@dataclass(frozen=True, slots=True)
class Winding:
    """One secondary winding, used up to a setting (V)."""

    name: str
    up_to_v: float
    secondary_rms_v: float
    source_resistance_ohm: float


@dataclass(frozen=True, slots=True)
class Rectifier:
    """A bridge with its reservoir."""

    diode_drop_v: float
    capacitance_f: float
    frequency_hz: float
    half_wave: bool = False
    ripple_part: float = 1.0

    @property
    def ripple_ohm(self) -> float:
        """Peak-to-peak ripple per ampere."""
        pulses = PULSES_HALF_WAVE if self.half_wave else PULSES_FULL_WAVE
        return self.ripple_part / (pulses * self.frequency_hz * self.capacitance_f)

    def peak(self, winding: Winding, line_ratio: float) -> float:
        """Return the voltage to which the reservoir is charged without load."""
        return max(
            0.0,
            sqrt(2.0) * winding.secondary_rms_v * line_ratio - DIODES_IN_PATH * self.diode_drop_v,
        )

    def source_ohm(self, winding: Winding) -> float:
        """Return the resistance that the mean current sees."""
        return winding.source_resistance_ohm * (HALF_WAVE_SOURCE if self.half_wave else 1.0)


def choose(windings: tuple[Winding, ...], setting_v: float) -> Winding:
    """Return the first winding that reaches a setting, else the highest."""
    for winding in windings:
        if setting_v <= winding.up_to_v:
            return winding
    return windings[-1]
