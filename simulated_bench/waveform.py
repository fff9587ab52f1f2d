"""The output as a function of time about one moment: settled level, transient, ripple, oscillation.

What an oscilloscope samples. Broadband noise is left to the instrument that limits its bandwidth.
"""

from math import pi, sqrt
from typing import NamedTuple

import numpy as np

from simulated_bench.operating_point import OperatingPoint
from simulated_bench.parts import Parts
from simulated_bench.ripple import ripple_wave
from simulated_bench.transient import Array


class Step(NamedTuple):
    """The last change of the load: when, and what was before."""

    at_s: float
    before: OperatingPoint


def output_waveform(
    parts: Parts,
    point: OperatingPoint,
    level_v: float,
    times: Array,
    step: Step | None,
    was_v: float,
) -> Array:
    """Return the voltage at bench times.

    Parameters
    ----------
    point, level_v
        The operating point, and the voltage that is settled at the place.
    times
        Bench times in seconds, shape ``(n,)``.
    step, was_v
        The last step of the load, and the voltage that was settled before it.
    """
    volts = np.full(times.shape, level_v)
    if step is not None:
        step_a = point.shunt_a - step.before.shunt_a
        after = times - step.at_s
        answer = level_v + parts.output.departure(after, step_a, parts.load.rise_s)
        volts = np.where(after < 0.0, was_v, answer)
    volts += ripple_wave(parts, point, times)
    swing = parts.regulator.oscillation(point.shunt_a) * parts.regulator.oscillation_rms_v
    volts += sqrt(2.0) * swing * np.sin(2.0 * pi * times * parts.output.frequency_hz)
    return np.asarray(volts, dtype=np.float64)


def current_waveform(now_a: float, was_a: float, times: Array, at_s: float, rise_s: float) -> Array:
    """Return the load's current at bench times about its last step."""
    part = np.clip((times - at_s) / max(rise_s, 1e-12), 0.0, 1.0)
    return np.asarray(was_a + (now_a - was_a) * part, dtype=np.float64)
