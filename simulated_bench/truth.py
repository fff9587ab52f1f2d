"""The true value of every figure, from the equations alone: no noise of a meter, no meter's error.

The unit's own flicker, walk and drift are true; they are functions of bench time and seed. Voltages
are at the sense points unless said, conditions are those of the scenario's ``[stated]`` table.

Taken at one unchanged state of heat, room, line and time, just after the output was set:

load_regulation (V)
    Greatest |V(I) − V(0)| over 0, 10, 25, 50, 75, 90 and 100 % of the rated current.
output_resistance (Ω), load_linearity (V)
    Minus the slope of the least-squares line through the same points; greatest departure from it.
sense_error (V), sense_resistance (Ω), lead_drop (V)
    |change at the load − change at the sense points| at rated current; slope of (change at sense −
    change at load) against current; change at the terminals − change at the sense points.
limit_current, knee_current, knee_onset, knee_sharpness, short_current, limit_change,
foldback_ratio, limit_hysteresis
    See `truth_limit.py`.
temperature_coefficient (V/K)
    Change of V at rated current per kelvin by which room and unit warm together.
line_regulation (V), dropout_line_voltage (V), pard_…, step_…, recovery_time (s), residual_voltage
(V), discharge_time_constant (s), time_to_safe_voltage (s)
    See `truth_output.py`.

Found by letting the unit live on: line on at 0 s with the unit cold, output set at 60 s, rated
current on at 90 s, then `warm_up` and `soak`:

thermal_tail (V, signed), drift, drift_span, drift_about_mean, drift_corrected (V), drift_rate
(V/s), warm_up_time (s)
    See `truth_soak.py`.
"""

from math import isfinite
from typing import Final

import numpy as np

from simulated_bench.scenario_models import Scenario
from simulated_bench.truth_limit import limit
from simulated_bench.truth_output import output
from simulated_bench.truth_soak import soak, thermal_tail
from simulated_bench.truth_state import LOADED_AT_S, SET_AT_S, SET_BEFORE_S, set_up, solver
from simulated_bench.world import World

LOAD_STEPS: Final = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0)
"""Parts of the rated current at which load regulation is stated."""


def truth(scenario: Scenario, seed: int, *, loaded_at_s: float = LOADED_AT_S) -> dict[str, float]:
    """Return every figure's true value by name, SI; a figure that does not exist is left out.

    `loaded_at_s` is the bench time at which full load comes on before the soak: room and flicker go
    on with bench time, so a run that began earlier has another drift.
    """
    world = set_up(scenario, seed, min(SET_AT_S, max(0.0, loaded_at_s - SET_BEFORE_S)))
    figures = (
        _load_effect(scenario, world)
        | limit(scenario, world)
        | output(scenario, world)
        | {
            "temperature_coefficient": _temperature_coefficient(scenario, world),
            "thermal_tail": thermal_tail(scenario, world),
        }
    )
    figures |= soak(scenario, world, figures["temperature_coefficient"], loaded_at_s)
    return {name: value for name, value in figures.items() if isfinite(value)}


def _load_effect(scenario: Scenario, world: World) -> dict[str, float]:
    rated = scenario.stated.current.nominal
    at = solver(world)
    points = [at("current", part * rated) for part in LOAD_STEPS]
    current = np.array([point.load_a for point in points])
    sense = np.array([point.sense_v for point in points])
    load = np.array([point.load_v for point in points])
    terminals = np.array([point.terminals_v for point in points])
    change, load_change = sense - sense[0], load - load[0]
    slope, offset = np.polyfit(current, sense, 1)
    return {
        "load_regulation": float(np.max(np.abs(change))),
        "output_resistance": float(-slope),
        "load_linearity": float(np.max(np.abs(sense - offset - slope * current))),
        "sense_error": float(abs(load_change[-1] - change[-1])),
        "sense_resistance": float(np.polyfit(current, change - load_change, 1)[0]),
        "lead_drop": float(terminals[-1] - terminals[0] - change[-1]),
    }


def _temperature_coefficient(scenario: Scenario, world: World) -> float:
    rated = scenario.stated.current.nominal
    cooler, warmer = (solver(world, warmer_k=by)("current", rated).sense_v for by in (-0.5, 0.5))
    return warmer - cooler
