"""The true value of every figure, from the equations alone: no noise of a meter, no meter's error.

The unit's own flicker, walk and drift are true; they are functions of bench time and seed. Voltages
are at the sense points unless said, conditions are those of the scenario's ``[stated]`` table.

Taken at one unchanged state of heat, room, line and time, just after the output was set:

load_regulation, load_change (V), load_change_ratio (1), output_resistance (Ω), load_linearity (V),
sense_error (V), sense_resistance (Ω), sense_length (m), lead_drop (V), sense_following (1),
temperature_coefficient (V/K)
    See `truth_load.py`.
setting_error, setting_offset, setting_linearity (V), setting_gain_error (1)
    Of a unit with remote control; see `truth_setting.py`.
dissipation (W), heatsink_rise (K), heatsink_rise_per_watt (K/W), heatsink_time_constant (s)
    See `truth_heat.py`.
limit_current, knee_current, knee_onset, knee_sharpness, short_current, limit_change,
foldback_ratio, limit_hysteresis
    See `truth_limit.py`.
line_regulation (V), dropout_line_voltage (V), pard_…, step_…, recovery_time (s), residual_voltage
(V), discharge_time_constant (s), time_to_safe_voltage (s)
    See `truth_output.py`.

Found by letting the unit live on: line on at 0 s with the unit cold, output set at 60 s, rated
current on at 90 s, then `warm_up` and `soak`:

thermal_tail (V, signed), drift, drift_span, drift_about_mean, drift_corrected (V), drift_rate
(V/s), warm_up_time (s), allan_deviation_1min, _10min, _1h (V)
    See `truth_soak.py`.
"""

from math import isfinite

from simulated_bench.scenario_models import Scenario
from simulated_bench.truth_heat import heat
from simulated_bench.truth_limit import limit
from simulated_bench.truth_load import load_effect, temperature_coefficient
from simulated_bench.truth_output import output
from simulated_bench.truth_setting import set_points
from simulated_bench.truth_soak import soak, thermal_tail
from simulated_bench.truth_state import LOADED_AT_S, SET_AT_S, SET_BEFORE_S, set_up


def truth(scenario: Scenario, seed: int, *, loaded_at_s: float = LOADED_AT_S) -> dict[str, float]:
    """Return every figure's true value by name, SI; a figure that does not exist is left out.

    `loaded_at_s` is the bench time at which full load comes on before the soak: room and flicker go
    on with bench time, so a run that began earlier has another drift.
    """
    world = set_up(scenario, seed, min(SET_AT_S, max(0.0, loaded_at_s - SET_BEFORE_S)))
    figures = (
        load_effect(scenario, world)
        | limit(scenario, world)
        | output(scenario, world)
        | heat(scenario, world)
        | set_points(scenario, world)
        | {
            "temperature_coefficient": temperature_coefficient(scenario, world),
            "thermal_tail": thermal_tail(scenario, world),
        }
    )
    figures |= soak(scenario, world, figures["temperature_coefficient"], loaded_at_s)
    return {name: value for name, value in figures.items() if isfinite(value)}
