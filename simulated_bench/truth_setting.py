"""True figures of a remote control's settings, at one unchanged state of heat, line and time.

Without load, at eleven settings that are even from nothing to the stated voltage; a unit whose
controls are a hand's has none of these.

setting_error (V)
    Greatest |V − setting|.
setting_gain_error (1), setting_offset (V)
    Slope less 1, and intercept, of the least-squares line of V against the setting.
setting_linearity (V)
    Greatest departure of V from that line.
"""

from dataclasses import replace
from typing import Final

import numpy as np

from simulated_bench.frame import circuit_at
from simulated_bench.load import LoadSetting
from simulated_bench.operating_point import solve
from simulated_bench.scenario_models import Scenario
from simulated_bench.setting import dial
from simulated_bench.world import World

POSITIONS: Final = 11


def set_points(scenario: Scenario, world: World) -> dict[str, float]:
    """Return the figures by name, SI; none for a unit without remote control."""
    if not world.programmable:
        return {}
    moment, parts = world.moment(), world.parts
    wanted = np.linspace(0.0, scenario.stated.voltage.nominal, POSITIONS)

    def output(setting_v: float) -> float:
        controls = replace(
            world.controls, setting=dial(parts.setting, setting_v), load=LoadSetting()
        )
        circuit = circuit_at(parts, controls, moment.time_s, moment.heat, moment.ambient_degc)
        return solve(circuit).sense_v

    volts = np.array([output(float(setting)) for setting in wanted])
    slope, offset = np.polyfit(wanted, volts, 1)
    return {
        "setting_error": float(np.max(np.abs(volts - wanted))),
        "setting_gain_error": float(slope) - 1.0,
        "setting_offset": float(offset),
        "setting_linearity": float(np.max(np.abs(volts - offset - slope * wanted))),
    }
