"""The series regulator: constant voltage, dropout, and a rounded current limit.

At the regulator's own output, with `I` the current through its shunt::

    U(I) = clip(V_cv − R_o·I + sense lift, reservoir − saturation)
    V    = U(I) − v_w·exp((I − I_L(V)) / i_w)
    I_L(V) = I_0·(1 + α·(T_ref − 25 °C))·(k + (1 − k)·V/V_cv) + g·(V_cv − V)

The exponential is a limit transistor that turns on exponentially with the drop over the shunt, as
a bipolar transistor does (J. J. Ebers and J. L. Moll, Proc. IRE 42 (1954) 1761). `g` is the output
conductance in constant current, `k` the foldback ratio (1: none).

A plain limit transistor takes away the drive that the error amplifier does not need. Once it has
all of it, nothing is left to regulate and the current stays: with the amplifier's emitter-coupled
pair, whose current goes as the hyperbolic tangent of its input (P. R. Gray and R. G. Meyer,
Analysis and Design of Analog Integrated Circuits, "emitter-coupled pair"), a drop `d` needs::

    I − I_L(V) = i_w·ln((s/v_w)·tanh(d/s))

`s` is the drive's span; without one (an amplified limit) ``d = v_w·exp(…)`` holds all the way.
tests/external/test_physics_series_regulator.py shows the form against a circuit in ngspice.

Dropout: within each ripple period the reservoir falls as a sawtooth of height ``r`` to its valley.
The output follows whichever is lower at each moment, so with the headroom ``h`` of the valley the
mean output loses ``0`` for h ≥ 0, ``h²/(2r)`` for −r < h < 0 and ``−h − r/2`` below: the mean of a
clipped sawtooth, exactly.
"""

from dataclasses import dataclass
from math import log, sinh, sqrt, tanh
from typing import Final

from simulated_bench.rectifier import SAWTOOTH_RMS

LEAST_PART: Final = 1e-5
"""Below this part of the span the tangent's curve is under 1e-10."""

WHOLE: Final = 20.0
"""So many spans make the tangent one to the last bit."""


@dataclass(frozen=True, slots=True)
class Regulator:
    """One unit's regulator."""

    output_resistance_ohm: float
    rounding_voltage_v: float
    rounding_current_a: float
    limit_current_a: float
    limit_conductance_s: float
    limit_tempco_per_k: float
    foldback: float
    saturation_v: float
    line_coefficient: float
    ripple_rejection: float
    noise_rms_v: float
    bleeder_ohm: float
    output_capacitance_f: float
    leakage_a: float
    leakage_doubling_k: float
    oscillation_from_a: float
    oscillation_rms_v: float
    oscillation_shift_v: float
    saturation_ohm: float = 0.0
    drive_span_v: float = 0.0
    """0: the drive is never exhausted."""

    def oscillation(self, current_a: float) -> float:
        """Return how far self-oscillation has grown at a current, 0 to 1.

        Past the threshold the loop gain at the oscillating frequency exceeds one and the amplitude
        grows with the square root of the excess, as a supercritical (Hopf) oscillation does.
        """
        if self.oscillation_rms_v <= 0.0 or current_a <= self.oscillation_from_a:
            return 0.0
        return min(1.0, sqrt(current_a / self.oscillation_from_a - 1.0))


def clip_loss(headroom_v: float, ripple_v: float) -> tuple[float, float]:
    """Return the mean output lost to clipping by a sawtooth, and minus its slope with headroom."""
    if headroom_v >= 0.0:
        return 0.0, 0.0
    if headroom_v <= -ripple_v:
        return -headroom_v - 0.5 * ripple_v, 1.0
    return headroom_v * headroom_v / (2.0 * ripple_v), -headroom_v / ripple_v


def exhausted(y: float, spans: float) -> tuple[float, float]:
    """Return ``ln((s/v_w)·tanh(d/s))`` and its slope with `y`, where ``d = v_w·e^y = spans·s``."""
    if spans < LEAST_PART:
        return y, 1.0
    if spans > WHOLE:
        return y - log(spans), 0.0
    return y + log(tanh(spans) / spans), 2.0 * spans / sinh(2.0 * spans)


def clip_ripple_rms(headroom_v: float, ripple_v: float) -> float:
    """Return the RMS about its mean of the output clipped by a sawtooth of a given height.

    For a clipped part ``x = −h`` of a sawtooth of height ``r``: mean square x³/(3r), mean x²/(2r).
    """
    if headroom_v >= 0.0 or ripple_v <= 0.0:
        return 0.0
    if headroom_v <= -ripple_v:
        return ripple_v * SAWTOOTH_RMS
    deep = -headroom_v
    return sqrt(max(0.0, deep**3 / (3.0 * ripple_v) - (deep * deep / (2.0 * ripple_v)) ** 2))
