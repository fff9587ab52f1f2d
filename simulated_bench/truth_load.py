"""True figures of the output against load and warmth, at one unchanged state of heat.

load_regulation, load_change (V, signed), load_change_ratio (1, signed)
    Greatest |V(I) − V(0)| over 0, 10, 25, 50, 75, 90 and 100 % of the rated current; V at rated
    current less V(0), and that over the set voltage.
output_resistance (Ω), load_linearity (V)
    Minus the slope of the least-squares line through the same points; greatest departure from it.
sense_error (V), sense_resistance (Ω), sense_length (m)
    |change at the load − change at the sense points| at rated current; slope of (change at sense −
    change at load) against current; the length of annealed copper with that resistance.
lead_drop (V), sense_following (1)
    Change at the terminals − change at the sense points, at rated current; the part of it that the
    terminals rise by.
temperature_coefficient (V/K)
    Change of V at rated current per kelvin by which room and unit warm together.
"""

from typing import Final

import numpy as np

from simulated_bench.scenario_models import Scenario
from simulated_bench.truth_state import solver
from simulated_bench.world import World

LOAD_STEPS: Final = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0)
"""Parts of the rated current at which load regulation is stated."""

COPPER_S_PER_M: Final = 58e6
"""Annealed copper at 20 °C (IEC 60028)."""

CROSS_SECTION_M2: Final = 2.5e-6
"""Of the copper that sense_length is told in."""


def load_effect(scenario: Scenario, world: World) -> dict[str, float]:
    """Return the figures of load and sense points by name, SI."""
    rated = scenario.stated.current.nominal
    at = solver(world)
    points = [at("current", part * rated) for part in LOAD_STEPS]
    current = np.array([point.load_a for point in points])
    sense = np.array([point.sense_v for point in points])
    load = np.array([point.load_v for point in points])
    terminals = np.array([point.terminals_v for point in points])
    change, load_change = sense - sense[0], load - load[0]
    slope, offset = np.polyfit(current, sense, 1)
    residual = float(np.polyfit(current, change - load_change, 1)[0])
    at_terminals = float(terminals[-1] - terminals[0])
    drop = at_terminals - float(change[-1])
    return {
        "load_regulation": float(np.max(np.abs(change))),
        "load_change": float(change[-1]),
        "load_change_ratio": float(change[-1]) / scenario.stated.voltage.nominal,
        "output_resistance": float(-slope),
        "load_linearity": float(np.max(np.abs(sense - offset - slope * current))),
        "sense_error": float(abs(load_change[-1] - change[-1])),
        "sense_resistance": residual,
        "sense_length": residual * COPPER_S_PER_M * CROSS_SECTION_M2,
        "lead_drop": drop,
        "sense_following": at_terminals / drop if drop else float("nan"),
    }


def temperature_coefficient(scenario: Scenario, world: World) -> float:
    """Return how much V changes at rated current per kelvin of everything, V/K."""
    rated = scenario.stated.current.nominal
    cooler, warmer = (solver(world, warmer_k=by)("current", rated).sense_v for by in (-0.5, 0.5))
    return warmer - cooler
