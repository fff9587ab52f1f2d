"""What a scenario says about its instruments: one model per kind, unknown keys refused.

An empty table gives the instrument's usual self. Half-widths are of rectangular distributions;
by default they lie within what the shipped benches state.
"""

from typing import Final, Literal

from pydantic import Field, field_validator

from simulated_bench.faces import Place
from simulated_bench.instruments.instrument_table import InstrumentTable, PlainTable, Trait, usual
from simulated_bench.instruments.load_trees import TREES
from simulated_bench.quantities import (
    Amperes,
    DegreesCelsius,
    Kelvins,
    PerKelvin,
    Ratio,
    Seconds,
    Volts,
)

VoltmeterTrait = Trait | Literal["line cycles", "free running"]
"""Integration set in line cycles; conversions that never stop and can't be started."""

LoadTrait = Trait | Literal["static levels", "mode words", "short modes"]
"""Command trees of `simulated_bench.instruments.load_trees`."""


class ControlTable(PlainTable):
    """The control instrument, through which faults are put into a running bench."""


class ClockTable(PlainTable):
    """The time base."""


class PersonTable(PlainTable):
    """The person, spoken to as an instrument."""


class VoltmeterTable(InstrumentTable):
    """A voltmeter. `…_low` holds on ranges up to 1 V, the other on those above."""

    place: Place | None = None
    traits: tuple[VoltmeterTrait, ...] = ()
    gain: Ratio = usual("0.003 %", "1")
    offset: Volts = usual("0.4 mV", "V")
    offset_low: Volts = usual("10 uV", "V")
    noise: Volts = usual("15 uV", "V")
    noise_low: Volts = usual("0.5 uV", "V")
    temperature_gain: PerKelvin = usual("3 ppm/K", "1/K")
    temperature_offset: Volts = usual("10 uV", "V")
    temperature_offset_low: Volts = usual("0.2 uV", "V")
    stability_gain: Ratio = usual("3 ppm", "1")
    stability_offset: Volts = usual("15 uV", "V")
    stability_offset_low: Volts = usual("0.5 uV", "V")
    thermal_emf: Volts = usual("2 uV", "V")
    calibrated_at: DegreesCelsius = usual("22 °C", "degC")
    overhead: Seconds = usual("10 ms", "s")


class LoadTable(InstrumentTable):
    """The electronic load's setting, readback, ratings and protection."""

    traits: tuple[LoadTrait, ...] = ()
    setting_gain: Ratio = usual("0.1 %", "1")
    setting_offset: Amperes = usual("5 mA", "A")
    setting_voltage_offset: Volts = usual("20 mV", "V")
    readback_gain: Ratio = usual("0.05 %", "1")
    readback_offset: Amperes = usual("3 mA", "A")
    readback_voltage_offset: Volts = usual("10 mV", "V")
    readback_noise: Amperes = usual("0.2 mA", "A")
    current: Amperes = usual("5 A", "A")
    voltage: Volts = usual("60 V", "V")
    power_w: float = Field(default=150.0, gt=0.0)
    trips_beyond: Ratio = usual("5 %", "1")
    """Protection trips this far above a rating."""
    reading: Seconds = usual("20 ms", "s")

    @field_validator("traits")
    @classmethod
    def _one_tree(cls, traits: tuple[LoadTrait, ...]) -> tuple[LoadTrait, ...]:
        if len(TREES.keys() & set(traits)) > 1:
            raise ValueError(f"found {', '.join(traits)}, expected one command tree at most")
        return traits


class ThermometerTable(PlainTable):
    """A thermometer with inputs 101 (heatsink) and 102 (ambient)."""

    offset: Kelvins = usual("0.5 K", "K")
    noise: Kelvins = usual("0.02 K", "K")
    reading: Seconds = usual("50 ms", "s")


SHIPPED: Final[dict[str, type[InstrumentTable]]] = {
    "clock": ClockTable,
    "voltmeter_sense": VoltmeterTable,
    "voltmeter_load": VoltmeterTable,
    "voltmeter_shunt": VoltmeterTable,
    "voltmeter_terminals": VoltmeterTable,
    "load": LoadTable,
    "thermometer": ThermometerTable,
    "person": PersonTable,
}
"""Instruments in the order of their ports."""

PLACES: Final[dict[str, Literal["sense", "load", "shunt", "terminals"]]] = {
    "voltmeter_sense": "sense",
    "voltmeter_load": "load",
    "voltmeter_shunt": "shunt",
    "voltmeter_terminals": "terminals",
}
