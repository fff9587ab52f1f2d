"""True figures of a unit that lives on under load: thermal tail, warm-up, drift.

thermal_tail (V, signed)
    A unit in balance with its room without load is loaded with the rated current: V after
    `tail_time` less V at once. Only its heat goes on; room, line and the reference's own time stand
    still.
warm_up_time (s)
    From the rated current's switching on until the one-minute means stay within ± `warm_up_band` of
    the mean of the last tenth of `warm_up`, over the warm-up only. Between the last mean outside
    and the next one a straight line is taken; a mean stands in the middle of its minute. 0: never
    outside.
drift (V), drift_span (V), drift_about_mean (V)
    Of the soak's one-minute means: greatest |departure| from the first; greatest less least;
    greatest |departure| from the mean of all.
drift_rate (V/s, signed)
    Slope of the least-squares line through the soak's one-minute means.
drift_corrected (V)
    As drift, of the means less temperature_coefficient times the room's temperature as the
    reference follows it (through heatsink and its own lag), referred to its value at the start.
allan_deviation_1min, allan_deviation_10min, allan_deviation_1h (V)
    Overlapping Allan deviation (NIST SP 1065, 5.2.4) of the soak's one-minute means, of this soak
    and no other; only where three stretches of that length fit.
"""

from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from simulated_bench.frame import circuit_at
from simulated_bench.heat import Temperatures
from simulated_bench.load import LoadSetting
from simulated_bench.operating_point import solve
from simulated_bench.scenario_models import Scenario
from simulated_bench.truth_state import LOADED_AT_S
from simulated_bench.world import World

MINUTE_S: Final = 60
FINAL_SHARE: Final = 0.1
TAIL_STEP_S: Final = 1.0
AVERAGED: Final = {"1min": 1, "10min": 10, "1h": 60}
"""Minutes."""
STRETCHES: Final = 3

Array = NDArray[np.float64]


def thermal_tail(scenario: Scenario, world: World) -> float:
    """Return how far the output goes on after the step to rated current, V."""
    moment, parts, stated = world.moment(), world.parts, scenario.stated
    ambient = moment.ambient_degc

    def sense_v(heat: Temperatures, current: float) -> tuple[float, float]:
        """Return the output, and the power in the pass element."""
        load = LoadSetting("current", current, on=current > 0.0)
        controls = replace(world.controls, load=load)
        point = solve(circuit_at(parts, controls, moment.time_s, heat, ambient))
        dissipated = (point.reservoir_v - point.terminals_v) * (point.shunt_a + point.bleeder_a)
        return point.sense_v, dissipated

    cold = Temperatures(ambient, ambient, ambient, ambient)
    _, idle_w = sense_v(cold, 0.0)
    heat = parts.heat.step(cold, idle_w, 0.0, ambient, 1e9)
    at_once, power_w = sense_v(heat, stated.current.nominal)
    for _ in range(round(stated.tail_time.nominal / TAIL_STEP_S)):
        heat = parts.heat.step(heat, power_w, 0.0, ambient, TAIL_STEP_S)
        volts, power_w = sense_v(heat, stated.current.nominal)
    return volts - at_once


def soak(
    scenario: Scenario, world: World, coefficient: float, loaded_at_s: float = LOADED_AT_S
) -> dict[str, float]:
    """Return the figures of warm-up and soak by name, SI; the world lives through both."""
    stated = scenario.stated
    world.advance_to(loaded_at_s)
    world.set_load("current", stated.current.nominal, on=True)
    start = loaded_at_s + stated.warm_up.nominal
    warming = _minutes(world, loaded_at_s, stated.warm_up.nominal)
    means = _minutes(world, start, stated.soak.nominal)
    followed = _room_at_reference(world, start, means.size)
    corrected = means - coefficient * (followed - followed[0])
    return {
        "drift": float(np.max(np.abs(means - means[0]))),
        "drift_span": float(np.ptp(means)),
        "drift_about_mean": float(np.max(np.abs(means - np.mean(means)))),
        "drift_rate": float(np.polyfit(np.arange(means.size) * float(MINUTE_S), means, 1)[0]),
        "drift_corrected": float(np.max(np.abs(corrected - corrected[0]))),
        "warm_up_time": into_band(warming, stated.warm_up_band.nominal),
        **{
            f"allan_deviation_{name}": _allan_deviation(means, count)
            for name, count in AVERAGED.items()
            if means.size >= STRETCHES * count
        },
    }


def _allan_deviation(means: Array, count: int) -> float:
    """Return how much neighbouring means of so many minutes differ, over the root of two."""
    sums = np.concatenate([[0.0], np.cumsum(means - means[0])])
    steps = (sums[2 * count :] - 2.0 * sums[count:-count] + sums[: -2 * count]) / count
    return float(np.sqrt(np.mean(steps**2) / 2.0))


def _minutes(world: World, start_s: float, duration_s: float) -> Array:
    """Return one-minute means of the output."""
    means = np.empty(int(duration_s // MINUTE_S))
    for minute in range(means.size):
        total = 0.0
        for second in range(MINUTE_S):
            world.advance_to(start_s + minute * MINUTE_S + second)
            total += world.moment().point.sense_v
        means[minute] = total / MINUTE_S
    return means


def _room_at_reference(world: World, start_s: float, minutes: int) -> Array:
    """Return the reference's temperature if no power were dissipated since bench time zero."""
    room, heat = world.parts.room, world.parts.heat
    first = room.ambient(0.0)
    unpowered = Temperatures(first, first, first, first)
    before = int(start_s // MINUTE_S)
    followed = np.empty(before + minutes)
    for minute in range(followed.size):
        # In the middle of the minute, as its mean stands there.
        ambient = room.ambient(start_s + (minute - before + 0.5) * MINUTE_S)
        unpowered = heat.step(unpowered, 0.0, 0.0, ambient, float(MINUTE_S))
        followed[minute] = unpowered.reference
    return followed[before:]


def into_band(means: Array, band_v: float) -> float:
    """Return the time (s) after which one-minute means stay in a band about their last tenth."""
    final = float(np.mean(means[means.size - max(1, round(FINAL_SHARE * means.size)) :]))
    away = np.abs(means - final)
    outside = np.flatnonzero(away > band_v)
    if outside.size == 0:
        return 0.0
    last = int(outside[-1])
    if last == means.size - 1:
        return float("nan")
    one_side = (means[last] - final) * (means[last + 1] - final) >= 0.0
    fall = away[last] - away[last + 1] if one_side else away[last] + away[last + 1]
    return float(MINUTE_S * (last + 0.5 + (away[last] - band_v) / fall))
