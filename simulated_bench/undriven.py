"""The bench while only the output capacitor feeds the load."""

from simulated_bench.controls import Controls
from simulated_bench.discharge import voltage_after
from simulated_bench.load import draw_current
from simulated_bench.operating_point import OperatingPoint
from simulated_bench.parts import Parts


def undriven_point(
    parts: Parts, controls: Controls, left_v: float, elapsed_s: float, reservoir_v: float
) -> OperatingPoint:
    """Return the point some time after the drive was removed with a voltage left at the output."""
    regulator, load, wiring = parts.regulator, controls.load, parts.wiring
    volts = voltage_after(
        left_v,
        elapsed_s,
        1.0 / (1.0 / regulator.bleeder_ohm + load.parallel_s),
        regulator.output_capacitance_f,
        load,
        parts.load,
    )
    drawn, _ = draw_current(parts.load, load, volts)
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
