"""From the winding to the reservoir: peak, and how far it sags.

``peak = √2·V_sec·(V_line/V_nom) − 2·V_diode``, the drop being that at 1 A. Under load the reservoir
sags and ripples as the bridge conducts in pulses, `conduction.py`. In first order, with the winding
idle between short pulses, the ripple would be ``I/(2·f·C)`` (full wave) or ``I/(f·C)`` (half wave,
a dead diode; P. Horowitz and W. Hill, The Art of Electronics, "Ripple voltage"); while the
reservoir is being charged it does not fall, so the true ripple is some tenths less.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Final

from simulated_bench.conduction import Bridge, SagTable, sag_table

PULSES_FULL_WAVE: Final = 2
PULSES_HALF_WAVE: Final = 1

DIODES_IN_PATH: Final = 2
"""A bridge conducts through two diodes at a time."""

SAWTOOTH_RMS: Final = 1 / sqrt(12.0)
"""RMS of a sawtooth of peak-to-peak height one."""


@dataclass(frozen=True, slots=True)
class Winding:
    """One secondary winding, used up to a setting (V); its resistance with the primary's."""

    name: str
    up_to_v: float
    secondary_rms_v: float
    source_resistance_ohm: float


@dataclass(frozen=True, slots=True)
class Rectifier:
    """A bridge with its reservoir; `diode_drop_v` is that of one diode at 1 A."""

    diode_drop_v: float
    capacitance_f: float
    frequency_hz: float
    half_wave: bool = False

    @property
    def pulses(self) -> int:
        """How often the reservoir is charged in a line period."""
        return PULSES_HALF_WAVE if self.half_wave else PULSES_FULL_WAVE

    def peak(self, winding: Winding, line_ratio: float) -> float:
        """Return the voltage to which the reservoir is charged without load."""
        return max(
            0.0,
            sqrt(2.0) * winding.secondary_rms_v * line_ratio - DIODES_IN_PATH * self.diode_drop_v,
        )

    def sag(self, winding: Winding) -> SagTable:
        """Return how far the reservoir sags at nominal line."""
        return sag_table(
            Bridge(
                sqrt(2.0) * winding.secondary_rms_v,
                DIODES_IN_PATH * self.diode_drop_v,
                DIODES_IN_PATH,
                winding.source_resistance_ohm,
                self.capacitance_f,
                self.frequency_hz,
                self.pulses,
            )
        )


def choose(windings: tuple[Winding, ...], setting_v: float) -> Winding:
    """Return the first winding that reaches a setting, else the highest."""
    for winding in windings:
        if setting_v <= winding.up_to_v:
            return winding
    return windings[-1]
