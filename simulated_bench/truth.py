"""The true value of every figure, from the equations alone: no noise of a meter, no meter's error.

Immediate effects (load steps, sense error, limit) are taken at one unchanged state of heat and
time, just after the output was set; the drift by letting the same unit live through the stated
timeline. Voltages are at the sense points unless said.
"""

from collections.abc import Callable
from dataclasses import replace
from math import isfinite
from typing import Final

import numpy as np

from simulated_bench.controls import circuit_at
from simulated_bench.load import LoadMode, LoadSetting
from simulated_bench.operating_point import OperatingPoint, solve
from simulated_bench.scenario_models import Scenario
from simulated_bench.setting import dial, turned
from simulated_bench.world import World

SET_AT_S: Final = 60.0
LOADED_AT_S: Final = 90.0
LOAD_STEPS: Final = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 1.0)
"""Parts of the rated current at which load regulation is stated."""

VOLTAGE_LINE: Final = tuple(0.1 * step for step in range(9))
"""Parts of the rated current, 0 to 80 %, that the constant-voltage line goes through."""

CURRENT_LINE: Final = tuple(0.25 + 0.0025 * step for step in range(201))
"""Parts of the set voltage, 25 to 75 %, that the constant-current line goes through.

So many that one more changes nothing: the curve is bent, and few points would weigh its ends more.
"""

MINUTE_S: Final = 60
TRIMS: Final = 4
"""Each trim leaves at most a thousandth of the error before."""

SCAN: Final = 0.002
HALVINGS: Final = 60

Solver = Callable[[LoadMode, float], OperatingPoint]


def truth(scenario: Scenario, seed: int) -> dict[str, float]:
    """Return every figure's true value by name, SI; a figure that does not exist is left out.

    `temperature_coefficient` is that of the output with the reference's temperature, which follows
    the ambient one to one when nothing else changes.
    """
    world = _set_up(scenario, seed)
    figures = _load_effect(scenario, world) | _limit(scenario, world)
    figures["temperature_coefficient"] = (
        world.parts.reference.tempco_per_k * scenario.stated.voltage.nominal
    )
    figures |= _drift(scenario, world)
    return {name: value for name, value in figures.items() if isfinite(value)}


def _set_up(scenario: Scenario, seed: int) -> World:
    """Return a world whose output has just been set to the stated voltage."""
    world = World(scenario, seed)
    parts, wanted = world.parts, scenario.stated.voltage.nominal
    world.set_controls(replace(world.controls, line_on=True))
    world.advance_to(SET_AT_S)
    setting = dial(parts.setting, wanted)
    world.set_controls(replace(world.controls, output_on=True, limit_knob=1.0, setting=setting))
    for _ in range(TRIMS):
        setting = turned(parts.setting, setting, wanted - world.voltage("sense"))
        world.set_controls(replace(world.controls, setting=setting))
    return world


def _solver(world: World) -> Solver:
    """Return a solver of operating points at the world's present heat and time."""
    moment = world.moment()

    def at(mode: LoadMode, level: float) -> OperatingPoint:
        controls = replace(world.controls, load=LoadSetting(mode, level, on=True))
        return solve(
            circuit_at(world.parts, controls, moment.time_s, moment.heat, moment.ambient_degc)
        )

    return at


def _load_effect(scenario: Scenario, world: World) -> dict[str, float]:
    rated = scenario.stated.current.nominal
    at = _solver(world)
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


def _limit(scenario: Scenario, world: World) -> dict[str, float]:
    stated = scenario.stated
    wanted, rated = stated.voltage.nominal, stated.current.nominal
    at = _solver(world)
    flat = [at("current", part * rated) for part in VOLTAGE_LINE]
    cv_slope, cv_offset = np.polyfit(
        [point.load_a for point in flat], [point.sense_v for point in flat], 1
    )
    steep = [at("voltage", part * wanted) for part in CURRENT_LINE]
    cc_slope, cc_offset = np.polyfit(
        [point.sense_v for point in steep], [point.load_a for point in steep], 1
    )
    # Both lines at once: the constant-current line at the constant-voltage line's own voltage.
    knee = float((cc_offset + cc_slope * cv_offset) / (1.0 - cc_slope * cv_slope))
    knee_v = float(cv_offset + cv_slope * knee)
    short = float(cc_offset + cc_slope * stated.load_voltage.nominal)

    def departure(current: float) -> float:
        point = at("current", current)
        return abs(point.sense_v - float(cv_offset + cv_slope * current))

    onset = _greatest_within(departure, stated.onset_departure.nominal, rated, knee)
    return {
        "limit_current": float(cc_offset + cc_slope * 0.5 * wanted),
        "knee_current": knee,
        "knee_onset": onset,
        "knee_sharpness": onset / knee,
        "short_current": short,
        "limit_change": short - float(cc_offset + cc_slope * knee_v),
    }


def _greatest_within(
    departure: Callable[[float], float], allowed: float, rated: float, knee: float
) -> float:
    """Return the greatest current whose departure is allowed, found from above."""
    outside = 1.2 * max(rated, knee)
    inside = outside
    while inside > 0.0 and departure(inside) > allowed:
        outside, inside = inside, inside - SCAN * rated
    if inside <= 0.0 or outside == inside:
        return float("nan")
    for _ in range(HALVINGS):
        middle = 0.5 * (inside + outside)
        if departure(middle) > allowed:
            outside = middle
        else:
            inside = middle
    return inside


def _drift(scenario: Scenario, world: World) -> dict[str, float]:
    stated = scenario.stated
    world.advance_to(LOADED_AT_S)
    world.set_load("current", stated.current.nominal, on=True)
    start = LOADED_AT_S + stated.warm_up.nominal
    minutes = int(stated.soak.nominal // MINUTE_S)
    means = np.empty(minutes)
    for minute in range(minutes):
        total = 0.0
        for second in range(MINUTE_S):
            world.advance_to(start + minute * MINUTE_S + second)
            total += world.voltage("sense")
        means[minute] = total / MINUTE_S
    departures = means - means[0]
    return {
        "drift": float(np.max(np.abs(departures))),
        "drift_span": float(np.ptp(means)),
        "drift_about_mean": float(np.max(np.abs(means - np.mean(means)))),
        "drift_rate": float(np.polyfit(np.arange(minutes) * float(MINUTE_S), means, 1)[0]),
    }
