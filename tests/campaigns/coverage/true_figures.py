"""The truth of one trial's figures: as `simulated_bench.truth` has it, no more than needed."""

from collections.abc import Mapping

from simulated_bench import truth
from simulated_bench.scenario_models import Scenario
from simulated_bench.truth_limit import limit
from simulated_bench.truth_soak import soak, thermal_tail
from simulated_bench.truth_state import set_up


def true_figures(scenario: Scenario, seed: int, trial: str) -> Mapping[str, float]:
    """Return the true values by name, SI; all that there are for a trial not known here."""
    world = set_up(scenario, seed)
    match trial:
        case "sense_check":
            return truth._load_effect(scenario, world)
        case "load_steps":
            found = truth._load_effect(scenario, world)
            return found | {"thermal_tail": thermal_tail(scenario, world)}
        case "limit_sweep":
            return limit(scenario, world)
        case "soak":
            coefficient = truth._temperature_coefficient(scenario, world)
            name = "temperature_coefficient"
            return {name: coefficient} | soak(scenario, world, coefficient)
    return truth.truth(scenario, seed)
