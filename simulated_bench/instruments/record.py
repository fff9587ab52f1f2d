"""What an oscilloscope makes of a waveform: low pass, noise, quantising, clipping; figures.

The low pass is one pole: ``y += (1 − exp(−2π·f·dt))·(x − y)``, white noise through it falls with
the root of its noise bandwidth ``π/2·f``. The unit's noise is stated for 20 MHz, as ripple and
noise of supplies are (common practice, no source).
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, pi, sqrt
from typing import Final

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from simulated_bench.instruments.numbers import OVERLOAD

Array = NDArray[np.float64]
STATED_BANDWIDTH_HZ: Final = 20e6
FIGURES: Final[dict[str, Callable[[Array], float]]] = {
    "DC": lambda volts: float(np.mean(volts)),
    "AC": lambda volts: float(np.std(volts)),
    "RMS": lambda volts: float(np.sqrt(np.mean(volts**2))),
    "PTPeak": lambda volts: float(np.ptp(volts)),
    "MAXimum": lambda volts: float(np.max(volts)),
    "MINimum": lambda volts: float(np.min(volts)),
}
"""Measurements of a record, by SCPI-1999's words."""

NOISE_BANDWIDTH: Final = pi / 2.0
"""Of one pole, over its corner."""


def noise_part(bandwidth_hz: float) -> float:
    """Return by how much a bandwidth lowers white noise that is stated for 20 MHz."""
    return min(1.0, sqrt(NOISE_BANDWIDTH * bandwidth_hz / STATED_BANDWIDTH_HZ))


def low_passed(volts: Array, step_s: float, corner_hz: float) -> Array:
    """Return a record after one pole, which has stood at the first value before."""
    kept = exp(-2.0 * pi * corner_hz * step_s)
    if kept < 1e-9:
        return volts
    passed = np.empty_like(volts)
    value = float(volts[0])
    for index, sample in enumerate(volts.tolist()):
        value += (1.0 - kept) * (sample - value)
        passed[index] = value
    return passed


@dataclass(frozen=True, slots=True)
class Record:
    """One input's record: codes, and how they become volts."""

    codes: NDArray[np.int64]
    step_v: float
    middle_v: float
    """Of code 0."""
    period_s: float
    start_s: float
    """From the trigger."""
    clipped: bool

    @property
    def volts(self) -> Array:
        """The values."""
        return np.asarray(self.codes * self.step_v + self.middle_v, dtype=np.float64)

    def figure(self, which: str) -> float:
        """Return a measurement of the record; overload where it was clipped."""
        if self.clipped:
            return OVERLOAD
        return FIGURES[which](self.volts)


def digitise(
    volts: Array,
    noise_v: float,
    generator: Generator,
    range_v: float,
    middle_v: float,
    bits: int,
    period_s: float,
    start_s: float,
) -> Record:
    """Return a record of ± `range_v` about a middle with so many bits."""
    step_v = 2.0 * range_v / 2**bits
    noisy = volts + noise_v * generator.standard_normal(volts.size)
    codes = np.rint((noisy - middle_v) / step_v).astype(np.int64)
    low, high = -(2 ** (bits - 1)), 2 ** (bits - 1) - 1
    clipped = bool(codes.min() < low or codes.max() > high)
    return Record(np.clip(codes, low, high), step_v, middle_v, period_s, start_s, clipped)
