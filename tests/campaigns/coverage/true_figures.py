"""The truth of one trial's figures: as `simulated_bench.truth` has it, no more than needed."""

from collections.abc import Callable, Mapping

from simulated_bench.scenario_models import Scenario
from simulated_bench.truth_heat import heat
from simulated_bench.truth_limit import limit
from simulated_bench.truth_load import load_effect, temperature_coefficient
from simulated_bench.truth_output import switched_off
from simulated_bench.truth_setting import set_points
from simulated_bench.truth_soak import soak, thermal_tail
from simulated_bench.truth_state import set_up
from simulated_bench.world import World


def true_figures(scenario: Scenario, seed: int, trial: str, middle_s: float) -> Mapping[str, float]:
    """Return the true values by name, SI; of set points at the bench time of their middle.

    What is true of the ammeters is in `true_ammeters.py`.
    """
    world = set_up(scenario, seed)
    if trial == "set_points":
        # The reference drifts by as much in a minute as a good meter is off.
        world.advance_to(middle_s)
    return _OF[trial](scenario, world)


def _load_steps(scenario: Scenario, world: World) -> dict[str, float]:
    tail = {"thermal_tail": thermal_tail(scenario, world)}
    return load_effect(scenario, world) | tail


def _soak(scenario: Scenario, world: World) -> dict[str, float]:
    coefficient = temperature_coefficient(scenario, world)
    found = soak(scenario, world, coefficient)
    return found | {"temperature_coefficient": coefficient}


_OF: Mapping[str, Callable[[Scenario, World], dict[str, float]]] = {
    "sense_check": load_effect,
    "load_steps": _load_steps,
    "limit_sweep": limit,
    "soak": _soak,
    "set_points": set_points,
    "output_off": lambda scenario, world: switched_off(scenario, world.parts),
    "heat": heat,
}
