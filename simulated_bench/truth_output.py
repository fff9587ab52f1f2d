"""True figures of the output against line, time and switch, at one unchanged state of heat.

line_regulation (V)
    Greatest |V − V at nominal line| at rated current as the line goes from − to + `line_change`.
dropout_line_voltage (V, RMS of the line)
    Least line at which rated current leaves the pass element its least drop in the ripple's valley,
    so that regulation holds and no ripple comes through.
pard_rms (V)
    RMS of line ripple, self-oscillation and broadband noise at rated current, whole bandwidth.
pard_peak_to_peak (V)
    Of the periodic part (line ripple and self-oscillation) alone: noise has no greatest value.
pard_line, pard_twice_line (V, RMS)
    Components at once and twice the line frequency.
step_dip, step_overshoot (V), recovery_time (s)
    Load step from `step_from` of the rated current to the whole: greatest departure from the
    settled value to the step's own side and to the other; time from the step's start until the
    output stays within ± `step_band` of the settled value. Left out where the limit acts.
residual_voltage (V), discharge_time_constant (s), time_to_safe_voltage (s)
    Output off from the set voltage with the load off: V after `off_time`; bleeder times output
    capacitor; time until V is `safe_voltage`.
"""

from math import exp, hypot, log, pi, sqrt
from typing import Final

import numpy as np
from scipy.optimize import brentq

from simulated_bench.operating_point import OperatingPoint
from simulated_bench.parts import Parts
from simulated_bench.ripple import line_ripple_rms, ripple_wave
from simulated_bench.scenario_models import Scenario
from simulated_bench.transient import step_figures
from simulated_bench.truth_state import solver
from simulated_bench.world import World

LINE_PARTS: Final = (-1.0, -0.5, 0.0, 0.5, 1.0)
LEAST_LINE, MOST_LINE = 0.2, 2.0
"""Over nominal; dropout is looked for between them."""

LIMITING_V: Final = 1e-3
"""The limit takes more than this away: the loop does not regulate."""

SAMPLES: Final = 20_000
"""Of one line period; the sawtooth's edges are then sharp to a ten-thousandth."""


def output(scenario: Scenario, world: World) -> dict[str, float]:
    """Return the figures by name, SI; NaN for one that does not exist."""
    rated = scenario.stated.current.nominal
    point = solver(world)("current", rated)
    return (
        _line(scenario, world)
        | _pard(world.parts, point)
        | _step(scenario, world.parts, point)
        | switched_off(scenario, world.parts)
    )


def _line(scenario: Scenario, world: World) -> dict[str, float]:
    rated, change = scenario.stated.current.nominal, scenario.stated.line_change.nominal

    def at(ratio: float) -> OperatingPoint:
        return solver(world, line_ratio=ratio)("current", rated)

    nominal = at(1.0).sense_v
    off = max(abs(at(1.0 + part * change).sense_v - nominal) for part in LINE_PARTS)
    lowest = float("nan")
    if at(LEAST_LINE).headroom_v < 0.0 < at(MOST_LINE).headroom_v:
        lowest = brentq(lambda ratio: at(ratio).headroom_v, LEAST_LINE, MOST_LINE, xtol=1e-9)
    return {"line_regulation": off, "dropout_line_voltage": lowest * world.parts.line.nominal_v}


def _pard(parts: Parts, point: OperatingPoint) -> dict[str, float]:
    regulator = parts.regulator
    swing = regulator.oscillation(point.shunt_a) * regulator.oscillation_rms_v
    turns = (np.arange(SAMPLES) + 0.5) / SAMPLES
    wave = ripple_wave(parts, point, turns / parts.line.frequency_hz)
    once, twice = (
        abs(np.mean(wave * np.exp(-2j * pi * order * turns))) * sqrt(2.0) for order in (1, 2)
    )
    return {
        "pard_rms": hypot(line_ripple_rms(parts, point), regulator.noise_rms_v, swing),
        "pard_peak_to_peak": float(np.ptp(wave)) + 2.0 * sqrt(2.0) * swing,
        "pard_line": float(once),
        "pard_twice_line": float(twice),
    }


def _step(scenario: Scenario, parts: Parts, point: OperatingPoint) -> dict[str, float]:
    stated = scenario.stated
    step_a = (1.0 - stated.step_from.nominal) * stated.current.nominal
    limiting = parts.regulator.rounding_voltage_v * exp(min(point.y, 0.0)) > LIMITING_V
    if limiting or point.headroom_v < 0.0:
        return {}
    found = step_figures(parts.output, step_a, stated.step_band.nominal, parts.load.rise_s)
    return {
        "step_dip": found.dip,
        "step_overshoot": found.overshoot,
        "recovery_time": found.recovery,
    }


def switched_off(scenario: Scenario, parts: Parts) -> dict[str, float]:
    """Return how the output falls from the set voltage, by name, SI."""
    stated, regulator = scenario.stated, parts.regulator
    from_v = stated.voltage.nominal
    tau = regulator.bleeder_ohm * regulator.output_capacitance_f
    return {
        "residual_voltage": from_v * exp(-stated.off_time.nominal / tau),
        "discharge_time_constant": tau,
        "time_to_safe_voltage": tau * max(0.0, log(from_v / stated.safe_voltage.nominal)),
    }
