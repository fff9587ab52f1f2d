"""The bench while only the output capacitor feeds the load."""

from typing import Final

from simulated_bench.controls import Controls
from simulated_bench.discharge import voltage_after
from simulated_bench.load import draw_current
from simulated_bench.operating_point import OperatingPoint
from simulated_bench.parts import Parts

LEAD_ROUNDS: Final = 4
"""Newton steps; a load is straight but for two corners."""


def undriven_point(
    parts: Parts, controls: Controls, left_v: float, elapsed_s: float, reservoir_v: float
) -> OperatingPoint:
    """Return the point some time after the drive was removed with a voltage left at the output."""
    regulator, load = parts.regulator, controls.load
    volts = voltage_after(
        left_v,
        elapsed_s,
        1.0 / (1.0 / regulator.bleeder_ohm + load.parallel_s),
        regulator.output_capacitance_f,
        load,
        parts.load,
    )
    return standing_point(parts, controls, volts, reservoir_v)


def drawn_at(parts: Parts, controls: Controls, volts: float) -> float:
    """Return what the load draws through its leads at a voltage across the terminals."""
    wiring = parts.wiring
    ohm = wiring.load_leads_ohm + wiring.shunt_ohm + wiring.residual_ohm
    current = 0.0
    for _ in range(LEAD_ROUNDS):
        drawn, slope = draw_current(parts.load, controls.load, volts - ohm * current)
        current += (drawn - current) / (1.0 + max(slope, 0.0) * ohm)
    return max(current, 0.0)


def standing_point(
    parts: Parts, controls: Controls, volts: float, reservoir_v: float
) -> OperatingPoint:
    """Return the point at which the output capacitor holds a voltage and the load draws from it."""
    regulator, wiring = parts.regulator, parts.wiring
    drawn = drawn_at(parts, controls, volts)
    drop = (wiring.load_leads_ohm + wiring.shunt_ohm) * drawn
    return OperatingPoint(
        y=0.0,
        shunt_a=drawn,
        load_a=drawn,
        lead_a=drawn,
        return_a=drawn,
        terminals_v=volts,
        sense_v=volts - drop,
        load_v=volts - drop - wiring.residual_ohm * drawn,
        input_v=volts - drop,
        bleeder_a=volts / regulator.bleeder_ohm,
        reservoir_v=reservoir_v,
        ripple_v=0.0,
        headroom_v=reservoir_v - regulator.saturation_v - volts,
    )
