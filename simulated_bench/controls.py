"""Where every control stands, and what that alone says of the unit."""

from dataclasses import dataclass
from math import sqrt
from typing import Final, Literal

from simulated_bench.load import LoadSetting
from simulated_bench.parts import Parts
from simulated_bench.rectifier import DIODES_IN_PATH, choose
from simulated_bench.reference import CALIBRATION_DEGC
from simulated_bench.sense import Connection
from simulated_bench.setting import Setting
from simulated_bench.slew import Charge

MOST_LEAKAGE_A: Final = 3.0
"""The drivers' emitter resistors let no more through (common practice, no source)."""

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


def shunt_at(parts: Parts, ambient_degc: float) -> float:
    """Return the measuring shunt's resistance."""
    wiring = parts.wiring
    return wiring.shunt_ohm * (1.0 + wiring.shunt_tempco_per_k * (ambient_degc - CALIBRATION_DEGC))
