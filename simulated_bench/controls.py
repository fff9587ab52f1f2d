"""Where every control stands, and the circuit that this makes at one moment."""

from dataclasses import dataclass
from math import sqrt
from typing import Final, Literal

from simulated_bench.heat import Temperatures
from simulated_bench.load import LoadSetting
from simulated_bench.operating_point import Circuit
from simulated_bench.parts import Parts
from simulated_bench.rectifier import DIODES_IN_PATH, choose
from simulated_bench.reference import CALIBRATION_DEGC
from simulated_bench.sense import Connection, SenseSide, pair, side
from simulated_bench.setting import Setting
from simulated_bench.slew import Charge
from simulated_bench.wiring import copper_factor

LEAST_OUTPUT_V: Final = 0.01
"""No regulator's output goes lower while it is on; also keeps the equations regular."""

SHORTED_V: Final = 0.1
"""Drop over a pass element that has failed short (common practice, no source)."""

MOST_LEAKAGE_A: Final = 3.0
"""The drivers' emitter resistors let no more through (common practice, no source)."""

STEEPEST_FOLD: Final = 0.5
"""Rise of a folding limit per rise of the current that lifts the output over the load leads.

At one the limit would run away before its own current. Met below a fraction of a volt only.
"""

LEAST_LINE: Final = 0.01
"""Of its nominal voltage; below, nothing comes out anyway."""

NO_LIMIT_A: Final = 1e4
BOUNDLESS_V: Final = 1e3

Failure = Literal["none", "short", "open"]


@dataclass(frozen=True, slots=True)
class Controls:
    """All knobs, switches and leads."""

    line_on: bool
    output_on: bool
    setting: Setting
    limit_knob: float
    """0 to 1 of the limit's full scale."""
    sense: Connection
    load: LoadSetting
    failure: Failure = "none"
    socket_live: bool = True
    """Whether there is voltage at the socket."""
    source_on: bool = True
    """Whether a line source between socket and unit passes it on."""

    @property
    def fed(self) -> bool:
        """Whether the unit gets line voltage."""
        return self.line_on and self.socket_live and self.source_on

    @property
    def passing(self) -> bool:
        """Whether the pass element feeds the output from a reservoir that has something."""
        return self.failure != "open" and (self.output_on or self.failure == "short")


def peak_at(parts: Parts, controls: Controls, time_s: float) -> float:
    """Return the reservoir's voltage without load."""
    if not controls.fed:
        return 0.0
    winding = choose(parts.windings, controls.setting.nominal_v)
    return parts.rectifier.peak(winding, parts.line.ratio(time_s))


def charge_at(parts: Parts, controls: Controls, time_s: float) -> Charge:
    """Return the bridge as it charges an empty reservoir."""
    winding = choose(parts.windings, controls.setting.nominal_v)
    rectifier = parts.rectifier
    return Charge(
        emf_v=sqrt(2.0) * winding.secondary_rms_v * parts.line.ratio(time_s),
        diodes_v=DIODES_IN_PATH * rectifier.diode_drop_v,
        source_ohm=winding.source_resistance_ohm,
        capacitance_f=rectifier.capacitance_f,
        pulses=rectifier.pulses,
    )


def leakage_at(parts: Parts, case_degc: float) -> float:
    """Return the drivers' leakage, which doubles every few kelvin (common practice, no source)."""
    regulator = parts.regulator
    doublings = (case_degc - CALIBRATION_DEGC) / regulator.leakage_doubling_k
    return min(MOST_LEAKAGE_A, regulator.leakage_a * float(2.0**doublings))


def set_voltage(
    parts: Parts, controls: Controls, time_s: float, heat: Temperatures, line_ratio: float
) -> float:
    """Return the voltage that the loop aims at between its sense inputs."""
    volts = controls.setting.volts + parts.setting.slip_v
    if parts.setting.wiper is not None:
        volts += parts.setting.wiper.at(time_s)
    volts *= parts.reference.ratio(time_s, heat.reference)
    volts += parts.regulator.line_coefficient * parts.line.nominal_v * (line_ratio - 1.0)
    return max(volts, LEAST_OUTPUT_V)


def circuit_at(
    parts: Parts,
    controls: Controls,
    time_s: float,
    heat: Temperatures,
    ambient_degc: float,
    reservoir_v: float | None = None,
) -> Circuit:
    """Return the circuit at a bench time, at given temperatures; the pass element is driven.

    With a reservoir voltage given, the line is off and that is all there is.
    """
    regulator, wiring = parts.regulator, parts.wiring
    winding = choose(parts.windings, controls.setting.nominal_v)
    line_ratio = parts.line.ratio(time_s)
    v_cv = set_voltage(parts, controls, time_s, heat, line_ratio)
    copper = copper_factor(ambient_degc)
    lead = 0.5 * wiring.load_leads_ohm * copper
    full = (
        regulator.limit_current_a
        * controls.limit_knob
        * (1.0 + regulator.limit_tempco_per_k * (heat.reference - CALIBRATION_DEGC))
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
    circuit = Circuit(
        v_cv=v_cv,
        output_ohm=regulator.output_resistance_ohm,
        limit_a=limit_a,
        limit_per_v=per_v,
        rounding_v=regulator.rounding_voltage_v,
        rounding_a=regulator.rounding_current_a,
        peak_v=parts.rectifier.peak(winding, line_ratio),
        source_ohm=0.0,
        ripple_ohm=0.0,
        saturation_v=saturation,
        saturation_ohm=regulator.saturation_ohm,
        drive_span_v=regulator.drive_span_v,
        idle_a=min(v_cv, winding.up_to_v) / regulator.bleeder_ohm + leakage,
        leakage_a=leakage,
        bleeder_ohm=regulator.bleeder_ohm,
        pair=pair(
            _side(parts, controls.sense, sense_lead, lead, "plus"),
            _side(parts, controls.sense, sense_lead, minus_lead, "minus"),
        ),
        plus_lead_ohm=lead,
        minus_lead_ohm=minus_lead,
        reverse_s=(
            1.0 / (parts.sense.series_ohm + sense_lead) if controls.sense == "reversed" else 0.0
        ),
        sense_a=parts.sense.current_a,
        residual_ohm=wiring.residual_ohm * copper,
        load=controls.load,
        load_parts=parts.load,
        oscillation_from_a=regulator.oscillation_from_a,
        oscillation_shift_v=regulator.oscillation_shift_v,
        sag=parts.rectifier.sag(winding),
        sag_scale=max(line_ratio, LEAST_LINE),
    )
    if reservoir_v is not None:
        circuit.peak_v, circuit.sag = reservoir_v, None
    return circuit


def shunt_at(parts: Parts, ambient_degc: float) -> float:
    """Return the measuring shunt's resistance."""
    wiring = parts.wiring
    return wiring.shunt_ohm * (1.0 + wiring.shunt_tempco_per_k * (ambient_degc - CALIBRATION_DEGC))


def _side(
    parts: Parts,
    connection: Connection,
    sense_lead: float,
    lead: float,
    which: Literal["plus", "minus"],
) -> SenseSide:
    if connection == "reversed":
        clamp = 0.5 * parts.sense.compensable_v
        return SenseSide(clamp, 0.0, 0.0, lead, clamp, 0.0, lead)
    connected = connection not in ("open", f"{which} open")
    return side(parts.sense, sense_lead, lead, connected=connected)
