"""True figures of the heat: a unit in balance with its room at rated current.

The line is what it is without its wander; room and output stand still.

dissipation (W)
    What the pass element turns into heat: (mean voltage of the reservoir − voltage at the
    terminals) times the current through it.
heatsink_rise (K), heatsink_rise_per_watt (K/W)
    Heatsink less room in balance; that over dissipation.
heatsink_time_constant (s)
    τ of the exponential by which the heatsink approaches its balance, long after the rated current
    came on: that of the network's slowest node. Junction and case make it begin some seconds late.
"""

from math import log
from typing import Final

from simulated_bench.controls import leakage_at
from simulated_bench.heat import Temperatures
from simulated_bench.scenario_models import Scenario
from simulated_bench.truth_state import solver
from simulated_bench.world import World

FOREVER_S: Final = 1e9
LONG_AFTER: Final = (3.0, 5.0)
"""Over the heatsink's own time constant."""


def heat(scenario: Scenario, world: World) -> dict[str, float]:
    """Return the figures by name, SI."""
    moment, parts = world.moment(), world.parts
    ambient = moment.ambient_degc
    line_ratio = parts.line.ratio(moment.time_s) / (1.0 + parts.line.wander.at(moment.time_s))
    point = solver(world, line_ratio=line_ratio)("current", scenario.stated.current.nominal)
    power_w = (point.reservoir_v - point.terminals_v) * (point.shunt_a + point.bleeder_a)
    sink_w = point.reservoir_v * leakage_at(parts, moment.heat.case)
    cold = Temperatures(ambient, ambient, ambient, ambient)

    def rise(after_s: float) -> float:
        return parts.heat.step(cold, power_w, sink_w, ambient, after_s).heatsink - ambient

    balance = rise(FOREVER_S)
    slowest = parts.heat.parts.sink_ambient * parts.heat.parts.sink_capacity
    left, later = (balance - rise(slowest * ways) for ways in LONG_AFTER)
    return {
        "dissipation": power_w,
        "heatsink_rise": balance,
        "heatsink_rise_per_watt": balance / power_w,
        "heatsink_time_constant": slowest * (LONG_AFTER[1] - LONG_AFTER[0]) / log(left / later),
    }
