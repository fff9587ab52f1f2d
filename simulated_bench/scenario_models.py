"""What a scenario document holds: one model per table, unknown keys refused.

Every quantity is text with a unit; ``± spread`` makes it differ between seeds.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Discriminator, Field, Tag

from simulated_bench.quantities import (
    Amperes,
    AmperesOfEitherSign,
    BenchTime,
    DegreesCelsius,
    Farads,
    Henries,
    JoulesPerKelvin,
    KelvinPerWatt,
    Kelvins,
    Ohms,
    OhmsOrNone,
    PerKelvin,
    PositiveAmperes,
    PositiveHertz,
    PositiveKelvins,
    PositiveVolts,
    Rate,
    Ratio,
    Seconds,
    Siemens,
    Uncertain,
    Volts,
    VoltsPerVolt,
)
from simulated_bench.scenario_faults import UnitFaultTable, kind_of
from simulated_bench.sense import Connection

FaultTable = Annotated[
    Annotated[UnitFaultTable, Tag("unit")] | Annotated[dict[str, Any], Tag("instrument")],
    Discriminator(kind_of),
]


class Table(BaseModel):
    """A table of a scenario."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class StatedTable(Table):
    """The conditions that the truth's figures are stated for; what they mean is in `truth.py`."""

    voltage: PositiveVolts
    current: PositiveAmperes
    onset_departure: PositiveVolts
    load_voltage: PositiveVolts
    warm_up: Seconds
    soak: Seconds
    tail_time: Seconds = Uncertain(300.0)
    warm_up_band: PositiveVolts = Uncertain(3e-3)
    line_change: Ratio = Uncertain(0.10)
    step_from: Ratio = Uncertain(0.5)
    step_band: PositiveVolts = Uncertain(10e-3)
    off_time: Seconds = Uncertain(2.0)
    safe_voltage: PositiveVolts = Uncertain(1.0)


class LineEventTable(Table):
    """One sag (negative change) or surge."""

    at: BenchTime
    duration: Seconds
    change: Ratio


class LineTable(Table):
    """The line; `switched_on` says whether the unit's line switch is on at bench time zero."""

    voltage: PositiveVolts
    frequency: PositiveHertz
    wander: Ratio
    wander_time: Seconds
    switched_on: bool = True
    events: tuple[LineEventTable, ...] = ()


class WindingTable(Table):
    """One secondary winding, by the reservoir's voltage without load at nominal line."""

    name: str
    up_to: PositiveVolts
    unregulated: PositiveVolts
    source_resistance: Ohms


class RectifierTable(Table):
    """Bridge and reservoir."""

    diode_drop: Volts
    capacitance: Farads
    half_wave: bool = False


class ReferenceTable(Table):
    """The reference's departures, all relative; flicker faster than its period is filtered out."""

    tempco: PerKelvin
    tail: Ratio
    tail_time: Seconds
    ageing_per_decade: Ratio
    flicker: Ratio
    flicker_period: Seconds = Uncertain(1.0)
    walk_per_root_hour: Ratio
    leak: Ratio
    leak_time: Seconds


class SettingTable(Table):
    """Switches, trimmer, and the wiper's jumps."""

    positions: tuple[Volts, ...]
    position_error: Ratio
    trimmer_from: Volts
    trimmer_to: Volts
    jump_rate: Rate
    jump: Volts


class RegulatorTable(Table):
    """The series regulator; with `slews` off its output arrives at once (`slew.py`)."""

    output_resistance: OhmsOrNone
    rounding_voltage: PositiveVolts
    rounding_current: PositiveAmperes
    limit_current: PositiveAmperes
    limit_conductance: Siemens
    limit_tempco: PerKelvin
    foldback: Ratio
    saturation: Volts
    line_coefficient: VoltsPerVolt
    ripple_rejection: Ratio
    noise: Volts
    bleeder: Ohms
    output_capacitance: Farads
    leakage: Amperes
    leakage_doubling: PositiveKelvins
    oscillation_from: PositiveAmperes
    oscillation: Volts
    oscillation_shift: Volts
    saturation_resistance: OhmsOrNone = Uncertain(0.0)
    drive_span: PositiveVolts | None = None
    loop_inductance: Henries
    output_capacitor_resistance: Ohms
    slews: bool = True


class RemoteTable(Table):
    """Setting from afar, in place of switches and a knob: steps, gain and offset."""

    voltage_step: PositiveVolts
    voltage_gain: Ratio
    voltage_offset: Volts
    current_step: PositiveAmperes
    current_gain: Ratio
    current_offset: AmperesOfEitherSign


class PanelTable(Table):
    """The unit's own meters; the resolution of a needle is what an eye makes of its scale."""

    voltage_gain: Ratio
    voltage_offset: Volts
    voltage_resolution: PositiveVolts
    voltage_full_scale: PositiveVolts
    current_gain: Ratio
    current_offset: AmperesOfEitherSign
    current_resolution: PositiveAmperes
    current_full_scale: PositiveAmperes


class SenseTable(Table):
    """The sense inputs, per side."""

    series: Ohms
    fallback: Ohms
    current: Amperes
    compensable: Volts


class HeatTable(Table):
    """The heat network and what over-heating does."""

    junction_case: KelvinPerWatt
    case_sink: KelvinPerWatt
    sink_ambient: KelvinPerWatt
    junction_capacity: JoulesPerKelvin
    case_capacity: JoulesPerKelvin
    sink_capacity: JoulesPerKelvin
    reference_fraction: Ratio
    reference_time: Seconds
    destroyed_at: DegreesCelsius
    fails: Literal["short", "open"]


class WiringTable(Table):
    """Conductors between unit and load; leads are totals of both conductors."""

    load_leads: Ohms
    sense_leads: Ohms
    residual: OhmsOrNone
    sense: Connection
    shunt: Ohms
    shunt_tempco: PerKelvin


class DoorTable(Table):
    """A door opened."""

    at: BenchTime
    drop: Kelvins
    recovery: Seconds


class RoomTable(Table):
    """The room's temperature."""

    mean: DegreesCelsius
    daily: Kelvins
    heating: Kelvins
    heating_period: Seconds
    wander: Kelvins
    wander_time: Seconds
    doors: tuple[DoorTable, ...] = ()


class PersonTable(Table):
    """The person at the unit."""

    delay: Seconds
    trim_delay: Seconds
    resolution: Volts
    limit_resolution: Amperes
    mistake: Ratio


class LoadTable(Table):
    """The electronic load's true abilities."""

    lowest_voltage: PositiveVolts
    current: PositiveAmperes
    voltage_mode_resistance: Ohms
    rise: Seconds


class Scenario(Table):
    """One bench: unit, wiring, room, person, load; its instruments belong to their own reader."""

    name: str
    description: str
    based_on: str | None = None
    stated: StatedTable
    line: LineTable
    windings: Annotated[tuple[WindingTable, ...], Field(min_length=1)]
    rectifier: RectifierTable
    reference: ReferenceTable
    setting: SettingTable
    remote: RemoteTable | None = None
    panel: PanelTable
    regulator: RegulatorTable
    sense: SenseTable
    heat: HeatTable
    wiring: WiringTable
    room: RoomTable
    person: PersonTable
    load: LoadTable
    instruments: dict[str, dict[str, Any]] = Field(default_factory=dict)
    all_faults: tuple[FaultTable, ...] = Field(default=(), alias="faults")

    @property
    def faults(self) -> tuple[dict[str, Any], ...]:
        """Tables of faults that name an instrument, as they stand."""
        return tuple(table for table in self.all_faults if isinstance(table, dict))

    @property
    def unit_faults(self) -> tuple[UnitFaultTable, ...]:
        """Faults of the unit and the room."""
        return tuple(table for table in self.all_faults if isinstance(table, UnitFaultTable))
