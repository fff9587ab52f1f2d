"""The unit as the truth looks at it: just set, with any load, at one state of heat and time."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from simulated_bench.frame import circuit_at
from simulated_bench.heat import Temperatures
from simulated_bench.line import LineEvent
from simulated_bench.load import LoadMode, LoadSetting
from simulated_bench.operating_point import OperatingPoint, solve
from simulated_bench.scenario_models import Scenario
from simulated_bench.setting import dial, turned
from simulated_bench.world import World

SET_AT_S: Final = 60.0
LOADED_AT_S: Final = 90.0
SET_BEFORE_S: Final = 4.0
"""Where load comes on earlier than usual, the output was set so long before."""
TRIMS: Final = 4
"""Each trim leaves at most a thousandth of the error before."""

Solver = Callable[[LoadMode, float], OperatingPoint]


def set_up(scenario: Scenario, seed: int, set_at_s: float = SET_AT_S) -> World:
    """Return a world whose output has just been set to the stated voltage."""
    world = World(scenario, seed)
    parts, wanted = world.parts, scenario.stated.voltage.nominal
    world.set_controls(replace(world.controls, line_on=True))
    world.advance_to(set_at_s)
    setting = dial(parts.setting, wanted)
    world.set_controls(replace(world.controls, output_on=True, limit_knob=1.0, setting=setting))
    for _ in range(TRIMS):
        setting = turned(parts.setting, setting, wanted - world.moment().point.sense_v)
        world.set_controls(replace(world.controls, setting=setting))
    return world


def solver(
    world: World,
    *,
    line_ratio: float | None = None,
    warmer_k: float = 0.0,
    standing_v: float | None = None,
) -> Solver:
    """Return a solver of operating points at the world's present heat and time.

    Parameters
    ----------
    line_ratio
        Line voltage over nominal; as it is at the moment when not given.
    warmer_k
        So much is added to every temperature.
    standing_v
        The output's voltage (V) when the load is put on; its set voltage when not given.
    """
    moment, parts = world.moment(), world.parts
    if line_ratio is not None:
        change = line_ratio / parts.line.ratio(moment.time_s) - 1.0
        events = (*parts.line.events, LineEvent(0.0, float("inf"), change))
        parts = replace(parts, line=replace(parts.line, events=events))
    heat = Temperatures(*(degc + warmer_k for degc in moment.heat))
    ambient = moment.ambient_degc + warmer_k

    def at(mode: LoadMode, level: float) -> OperatingPoint:
        controls = replace(world.controls, load=LoadSetting(mode, level, on=True))
        circuit = circuit_at(parts, controls, moment.time_s, heat, ambient)
        return solve(circuit, standing_v=standing_v)

    return at
