"""Line ripple at the output: through the regulator, and past it in dropout."""

from math import cos, pi, sqrt

from simulated_bench.operating_point import OperatingPoint
from simulated_bench.parts import Parts
from simulated_bench.rectifier import (
    PULSES_FULL_WAVE,
    PULSES_HALF_WAVE,
    SAWTOOTH_RMS,
)
from simulated_bench.regulator import clip_ripple_rms


def ripple_hz(parts: Parts) -> float:
    """Return the frequency of the reservoir's ripple."""
    pulses = PULSES_HALF_WAVE if parts.rectifier.half_wave else PULSES_FULL_WAVE
    return pulses * parts.line.frequency_hz


def line_ripple_rms(parts: Parts, point: OperatingPoint) -> float:
    """Return the RMS line ripple at the output."""
    through = point.ripple_v * SAWTOOTH_RMS * parts.regulator.ripple_rejection
    return sqrt(through**2 + clip_ripple_rms(point.headroom_v, point.ripple_v) ** 2)


def ripple_mean(parts: Parts, point: OperatingPoint, from_s: float, window_s: float) -> float:
    """Return the mean of the ripple's fundamental over a window of bench time."""
    omega = 2.0 * pi * ripple_hz(parts)
    turned = cos(omega * from_s) - cos(omega * (from_s + window_s))
    return sqrt(2.0) * line_ripple_rms(parts, point) * turned / (omega * window_s)
