"""Line ripple at the output: through the regulator, and past it in dropout.

Within each period the reservoir falls as a sawtooth of height `r` (`rectifier.py`). A part of it,
the ripple rejection, reaches the output; where the headroom `h` of the valley is negative the
output follows the reservoir for the rest of the period (`regulator.py`). With the phase `p` from 0
to 1, rejection `k` and the mean loss `l` by clipping::

    w(p) = k·r·(1/2 − p) + min(0, h + r·(1 − p)) + l
"""

from math import sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from simulated_bench.operating_point import OperatingPoint
from simulated_bench.parts import Parts
from simulated_bench.rectifier import SAWTOOTH_RMS
from simulated_bench.regulator import clip_loss, clip_ripple_rms

Array = NDArray[np.float64]

MOST_PERIODS: Final = 1e9
"""Beyond, what is left of a period no longer counts."""


def ripple_hz(parts: Parts) -> float:
    """Return the frequency of the reservoir's ripple."""
    return parts.rectifier.pulses * parts.line.frequency_hz


def line_ripple_rms(parts: Parts, point: OperatingPoint) -> float:
    """Return the RMS line ripple at the output."""
    through = point.ripple_v * SAWTOOTH_RMS * parts.regulator.ripple_rejection
    return sqrt(through**2 + clip_ripple_rms(point.headroom_v, point.ripple_v) ** 2)


def ripple_wave(parts: Parts, point: OperatingPoint, times: Array) -> Array:
    """Return the ripple about the mean output, V, at bench times of shape ``(n,)``."""
    phase = (times * ripple_hz(parts)) % 1.0
    height, headroom = point.ripple_v, point.headroom_v
    wave = parts.regulator.ripple_rejection * height * (0.5 - phase)
    if headroom < 0.0:
        clipped = np.minimum(0.0, headroom + height * (1.0 - phase))
        wave += clipped + clip_loss(headroom, height)[0]
    return np.asarray(wave, dtype=np.float64)


def ripple_mean(parts: Parts, point: OperatingPoint, from_s: float, window_s: float) -> float:
    """Return the mean of the ripple over a window of bench time."""
    hertz = ripple_hz(parts)
    start, end = from_s * hertz, (from_s + window_s) * hertz
    if end - start > MOST_PERIODS:
        return 0.0
    # Whole periods have no mean.
    return (_area(parts, point, end % 1.0) - _area(parts, point, start % 1.0)) / (end - start)


def _area(parts: Parts, point: OperatingPoint, phase: float) -> float:
    """Return the integral of the wave from the period's start to a phase."""
    height, headroom = point.ripple_v, point.headroom_v
    area = 0.5 * parts.regulator.ripple_rejection * height * phase * (1.0 - phase)
    if headroom < 0.0:
        loss, _ = clip_loss(headroom, height)
        area += loss * phase
        if headroom <= -height:
            area += headroom * phase + height * phase * (1.0 - 0.5 * phase)
        else:
            inside = max(0.0, phase - 1.0 - headroom / height)
            area -= 0.5 * height * inside * inside
    return area
