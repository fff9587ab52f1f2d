"""Builds one bench's parts from a scenario and its draws.

Each value's draw is named after its key path in the scenario, so that two scenarios with the same
seed differ only in what their documents say.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Final

from simulated_bench.draw import Draws
from simulated_bench.heat import HeatNetwork, HeatParts
from simulated_bench.line import Line, LineEvent
from simulated_bench.load import LoadParts
from simulated_bench.noise import flicker, jumps, random_walk, wander
from simulated_bench.panel import PanelMeter
from simulated_bench.quantities import Uncertain
from simulated_bench.rectifier import DIODES_IN_PATH, Rectifier, Winding
from simulated_bench.reference import Reference
from simulated_bench.regulator import Regulator
from simulated_bench.room import Door, Room
from simulated_bench.scenario_models import Scenario, Table
from simulated_bench.sense import SenseInputs
from simulated_bench.setting import RemoteParts, SettingParts
from simulated_bench.transient import OutputImpedance

GREATEST_LOAD_CURRENT: Final = 1.1
"""An electronic load's own ceiling over its rated current (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Wiring:
    """Resistances at 20 °C (the shunt's at 25 °C)."""

    load_leads_ohm: float
    sense_leads_ohm: float
    residual_ohm: float
    shunt_ohm: float
    shunt_tempco_per_k: float


@dataclass(frozen=True, slots=True)
class Parts:
    """One bench, drawn."""

    line: Line
    windings: tuple[Winding, ...]
    rectifier: Rectifier
    reference: Reference
    setting: SettingParts
    regulator: Regulator
    sense: SenseInputs
    heat: HeatNetwork
    wiring: Wiring
    room: Room
    load: LoadParts
    output: OutputImpedance
    voltage_panel: PanelMeter
    current_panel: PanelMeter


def build(scenario: Scenario, draws: Draws) -> Parts:
    """Return the parts of the bench of a scenario and seed."""
    rectifier = Rectifier(
        draws.value("rectifier.diode_drop", scenario.rectifier.diode_drop),
        draws.value("rectifier.capacitance", scenario.rectifier.capacitance),
        scenario.line.frequency.nominal,
        scenario.rectifier.half_wave,
    )
    load = scenario.load
    regulator = _regulator(scenario, draws)
    return Parts(
        line=_line(scenario, draws),
        windings=tuple(_windings(scenario, draws, rectifier)),
        rectifier=rectifier,
        reference=_reference(scenario, draws),
        setting=_setting(scenario, draws),
        regulator=regulator,
        sense=SenseInputs(*_values("sense", scenario.sense, draws)),
        heat=HeatNetwork(_heat(scenario, draws)),
        wiring=_wiring(scenario, draws),
        room=_room(scenario, draws),
        load=LoadParts(
            on_resistance_ohm=load.lowest_voltage.nominal / load.current.nominal,
            voltage_mode_ohm=load.voltage_mode_resistance.nominal,
            greatest_current_a=GREATEST_LOAD_CURRENT * load.current.nominal,
            rise_s=load.rise.nominal,
        ),
        output=_output(scenario, draws, regulator),
        voltage_panel=PanelMeter(*_panel(scenario, draws)[:4]),
        current_panel=PanelMeter(*_panel(scenario, draws)[4:]),
    )


def _values(table_name: str, table: Table, draws: Draws) -> list[float]:
    """Draw every quantity of a table, in the order of its model."""
    return [
        draws.value(f"{table_name}.{key}", value)
        for key, value in table
        if isinstance(value, Uncertain)
    ]


def _line(scenario: Scenario, draws: Draws) -> Line:
    line = scenario.line
    return Line(
        line.voltage.nominal,
        line.frequency.nominal,
        wander(draws, "line.wander", line.wander.nominal, line.wander_time.nominal),
        tuple(
            LineEvent(event.at.nominal, event.duration.nominal, event.change.nominal)
            for event in line.events
        ),
    )


def _windings(scenario: Scenario, draws: Draws, rectifier: Rectifier) -> list[Winding]:
    windings = []
    for table in scenario.windings:
        peak = draws.value(f"windings.{table.name}.unregulated", table.unregulated)
        secondary = (peak + DIODES_IN_PATH * rectifier.diode_drop_v) / sqrt(2.0)
        resistance = draws.value(
            f"windings.{table.name}.source_resistance", table.source_resistance
        )
        windings.append(Winding(table.name, table.up_to.nominal, secondary, resistance))
    return windings


def _reference(scenario: Scenario, draws: Draws) -> Reference:
    table = scenario.reference
    return Reference(
        tempco_per_k=draws.value("reference.tempco", table.tempco),
        tail=draws.value("reference.tail", table.tail),
        tail_time_s=draws.value("reference.tail_time", table.tail_time),
        ageing_per_decade=draws.value("reference.ageing_per_decade", table.ageing_per_decade),
        leak=draws.value("reference.leak", table.leak),
        leak_time_s=draws.value("reference.leak_time", table.leak_time),
        flicker=flicker(
            draws, "reference.flicker", table.flicker.nominal, table.flicker_period.nominal
        ),
        walk=random_walk(draws, "reference.walk", table.walk_per_root_hour.nominal),
    )


def _setting(scenario: Scenario, draws: Draws) -> SettingParts:
    table = scenario.setting
    rate = table.jump_rate.nominal
    return SettingParts(
        weights_v=tuple(position.nominal for position in table.positions),
        errors=tuple(
            draws.value(f"setting.position_error.{index}", table.position_error)
            for index in range(len(table.positions))
        ),
        trimmer_from_v=table.trimmer_from.nominal,
        trimmer_to_v=table.trimmer_to.nominal,
        wiper=jumps(draws, "setting.jump", rate, table.jump.nominal) if rate else None,
        remote=_remote(scenario, draws),
    )


def _remote(scenario: Scenario, draws: Draws) -> RemoteParts | None:
    if scenario.remote is None:
        return None
    return RemoteParts(*_values("remote", scenario.remote, draws))


def _regulator(scenario: Scenario, draws: Draws) -> Regulator:
    table = scenario.regulator

    def value(key: str) -> float:
        return draws.value(f"regulator.{key}", getattr(table, key))

    return Regulator(
        output_resistance_ohm=value("output_resistance"),
        rounding_voltage_v=value("rounding_voltage"),
        rounding_current_a=value("rounding_current"),
        limit_current_a=value("limit_current"),
        limit_conductance_s=value("limit_conductance"),
        limit_tempco_per_k=value("limit_tempco"),
        foldback=value("foldback"),
        saturation_v=value("saturation"),
        line_coefficient=value("line_coefficient"),
        ripple_rejection=value("ripple_rejection"),
        noise_rms_v=value("noise"),
        bleeder_ohm=value("bleeder"),
        output_capacitance_f=value("output_capacitance"),
        leakage_a=value("leakage"),
        leakage_doubling_k=value("leakage_doubling"),
        oscillation_from_a=value("oscillation_from"),
        oscillation_rms_v=value("oscillation"),
        oscillation_shift_v=value("oscillation_shift"),
        saturation_ohm=value("saturation_resistance"),
        drive_span_v=value("drive_span") if table.drive_span is not None else 0.0,
    )


def _output(scenario: Scenario, draws: Draws, regulator: Regulator) -> OutputImpedance:
    table = scenario.regulator
    return OutputImpedance(
        regulator.output_resistance_ohm,
        draws.value("regulator.loop_inductance", table.loop_inductance),
        regulator.output_capacitance_f,
        draws.value("regulator.output_capacitor_resistance", table.output_capacitor_resistance),
    )


def _panel(scenario: Scenario, draws: Draws) -> list[float]:
    return _values("panel", scenario.panel, draws)


def _heat(scenario: Scenario, draws: Draws) -> HeatParts:
    values = _values("heat", scenario.heat, draws)
    return HeatParts(*values[:-1])  # the last is the temperature of destruction


def _wiring(scenario: Scenario, draws: Draws) -> Wiring:
    return Wiring(*_values("wiring", scenario.wiring, draws))


def _room(scenario: Scenario, draws: Draws) -> Room:
    table = scenario.room
    phases = draws.generator("room.phases").uniform(size=2)
    return Room(
        mean_degc=draws.value("room.mean", table.mean),
        daily_k=draws.value("room.daily", table.daily),
        phase=float(phases[0]),
        heating_k=draws.value("room.heating", table.heating),
        heating_period_s=draws.value("room.heating_period", table.heating_period),
        heating_phase=float(phases[1]),
        wander=wander(draws, "room.wander", table.wander.nominal, table.wander_time.nominal),
        doors=tuple(
            Door(door.at.nominal, door.drop.nominal, door.recovery.nominal) for door in table.doors
        ),
    )
