"""The circuit that parts and controls make at one moment.

A `Frame` works out once what they fix until one of them changes; time, heat and the room's
temperature do the rest.
"""

from math import sqrt
from typing import Final

from simulated_bench.controls import Controls, leakage_at, shunt_at
from simulated_bench.heat import Temperatures
from simulated_bench.operating_point import Circuit
from simulated_bench.parts import Parts
from simulated_bench.rectifier import DIODES_IN_PATH, choose
from simulated_bench.reference import CALIBRATION_DEGC
from simulated_bench.sense import SensePair, SenseSide, pair, side
from simulated_bench.wiring import copper_factor

LEAST_OUTPUT_V: Final = 0.01
"""No regulator's output goes lower while it is on; also keeps the equations regular."""

SHORTED_V: Final = 0.1
"""Drop over a pass element that has failed short (common practice, no source)."""

STEEPEST_FOLD: Final = 0.5
"""Rise of a folding limit per rise of the current that lifts the output over the load leads.

At one the limit would run away before its own current. Met below a fraction of a volt only.
"""

LEAST_LINE: Final = 0.01
"""Of its nominal voltage; below, nothing comes out anyway."""

NO_LIMIT_A: Final = 1e4
BOUNDLESS_V: Final = 1e3


def circuit_at(
    parts: Parts, controls: Controls, time_s: float, heat: Temperatures, ambient_degc: float
) -> Circuit:
    """Return the circuit at a bench time, at given temperatures; the pass element is driven."""
    return Frame(parts, controls).circuit(time_s, heat, ambient_degc)


class Frame:
    """What parts and controls fix in the circuit."""

    def __init__(self, parts: Parts, controls: Controls) -> None:
        self.parts, self.controls = parts, controls
        winding = choose(parts.windings, controls.setting.nominal_v)
        self._emf_v = sqrt(2.0) * winding.secondary_rms_v
        self._diodes_v = DIODES_IN_PATH * parts.rectifier.diode_drop_v
        self._sag = parts.rectifier.sag(winding)
        self._up_to_v = winding.up_to_v
        self._full_a = parts.regulator.limit_current_a * controls.limit_knob
        self._dialled_v = controls.setting.volts + parts.setting.slip_v
        self._line_v = parts.regulator.line_coefficient * parts.line.nominal_v
        sense = controls.sense
        self._reversed = sense == "reversed"
        self._plus = sense not in ("open", "plus open")
        self._minus = sense not in ("open", "minus open")

    def circuit(
        self,
        time_s: float,
        heat: Temperatures,
        ambient_degc: float,
        reservoir_v: float | None = None,
    ) -> Circuit:
        """Return the circuit at a bench time, at given temperatures; the pass element is driven.

        With a reservoir voltage given, the line is off and that is all there is.
        """
        parts, controls = self.parts, self.controls
        regulator, wiring = parts.regulator, parts.wiring
        line_ratio = parts.line.ratio(time_s)
        v_cv = self._set_voltage(time_s, heat, line_ratio)
        copper = copper_factor(ambient_degc)
        lead = 0.5 * wiring.load_leads_ohm * copper
        full = self._full_a * (
            1.0 + regulator.limit_tempco_per_k * (heat.reference - CALIBRATION_DEGC)
        )
        limit_a = full * regulator.foldback + regulator.limit_conductance_s * v_cv
        minus_lead = lead + shunt_at(parts, ambient_degc)
        fold = min(full * (1.0 - regulator.foldback) / v_cv, STEEPEST_FOLD / (lead + minus_lead))
        per_v = fold - regulator.limit_conductance_s
        saturation = regulator.saturation_v
        if controls.failure == "short":
            v_cv, limit_a, per_v, saturation = BOUNDLESS_V, NO_LIMIT_A, 0.0, SHORTED_V
        sense_lead = 0.5 * wiring.sense_leads_ohm * copper
        leakage = leakage_at(parts, heat.case)
        peak_v = max(0.0, self._emf_v * line_ratio - self._diodes_v)
        # By position, in the order of the fields: made for every moment, naming costs.
        return Circuit(
            v_cv,
            regulator.output_resistance_ohm,
            limit_a,
            per_v,
            regulator.rounding_voltage_v,
            regulator.rounding_current_a,
            peak_v if reservoir_v is None else reservoir_v,
            0.0,
            0.0,
            saturation,
            min(v_cv, self._up_to_v) / regulator.bleeder_ohm + leakage,
            leakage,
            regulator.bleeder_ohm,
            self._pair(sense_lead, lead, minus_lead),
            lead,
            minus_lead,
            1.0 / (parts.sense.series_ohm + sense_lead) if self._reversed else 0.0,
            parts.sense.current_a,
            wiring.residual_ohm * copper,
            controls.load,
            parts.load,
            regulator.oscillation_from_a,
            regulator.oscillation_shift_v,
            regulator.saturation_ohm,
            self._sag if reservoir_v is None else None,
            max(line_ratio, LEAST_LINE),
            regulator.drive_span_v,
        )

    def _set_voltage(self, time_s: float, heat: Temperatures, line_ratio: float) -> float:
        """Return the voltage that the loop aims at between its sense inputs."""
        parts, volts = self.parts, self._dialled_v
        if parts.setting.wiper is not None:
            volts += parts.setting.wiper.at(time_s)
        volts *= parts.reference.ratio(time_s, heat.reference)
        volts += self._line_v * (line_ratio - 1.0)
        return max(LEAST_OUTPUT_V, volts)

    def _pair(self, sense_lead: float, lead: float, minus_lead: float) -> SensePair:
        inputs = self.parts.sense
        if self._reversed:
            clamp = 0.5 * inputs.compensable_v
            return pair(
                SenseSide(clamp, 0.0, 0.0, lead, clamp, 0.0, lead),
                SenseSide(clamp, 0.0, 0.0, minus_lead, clamp, 0.0, minus_lead),
            )
        return pair(
            side(inputs, sense_lead, lead, connected=self._plus),
            side(inputs, sense_lead, minus_lead, connected=self._minus),
        )
