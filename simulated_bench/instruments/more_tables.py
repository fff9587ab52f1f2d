"""What a scenario says about instruments that it adds to the shipped ones, by their `kind`."""

from typing import Literal, Self

from pydantic import Field, field_validator, model_validator

from simulated_bench.faces import Place
from simulated_bench.instruments.instrument_table import InstrumentTable, PlainTable, Trait, usual
from simulated_bench.instruments.tables import VoltmeterTable
from simulated_bench.quantities import (
    Amperes,
    DegreesCelsius,
    PerKelvin,
    PositiveAmperes,
    PositiveHertz,
    PositiveVolts,
    Ratio,
    Seconds,
    Uncertain,
    Volts,
)

CHANNELS: dict[int, Place] = {101: "sense", 102: "load", 103: "shunt", 104: "terminals"}


class OwnVoltmeterTable(VoltmeterTable):
    """A voltmeter of the scenario's own: at a place, or behind a scanner."""

    behind: str | None = None
    """The name of a scanner that stands before it."""

    @model_validator(mode="after")
    def _connected(self) -> Self:
        if (self.place is None) == (self.behind is None):
            raise ValueError("expected exactly one of place, behind")
        return self


class AmmeterTable(InstrumentTable):
    """An ammeter in the load wiring; its burden is counted among the leads."""

    traits: tuple[Trait | Literal["line cycles", "free running"], ...] = ()
    gain: Ratio = usual("0.02 %", "1")
    offset: Amperes = usual("0.2 mA", "A")
    offset_low: Amperes = usual("20 uA", "A")
    noise: Amperes = usual("20 uA", "A")
    noise_low: Amperes = usual("1 uA", "A")
    temperature_gain: PerKelvin = usual("10 ppm/K", "1/K")
    temperature_offset: Amperes = usual("10 uA", "A")
    temperature_offset_low: Amperes = usual("1 uA", "A")
    stability_gain: Ratio = usual("10 ppm", "1")
    stability_offset: Amperes = usual("10 uA", "A")
    stability_offset_low: Amperes = usual("1 uA", "A")
    calibrated_at: DegreesCelsius = usual("22 °C", "degC")
    overhead: Seconds = usual("10 ms", "s")

    @property
    def thermal_emf(self) -> Uncertain:
        """No voltage in series makes an ammeter show current."""
        return Uncertain(0.0)


class ScannerTable(PlainTable):
    """Relays that connect one of several points to whatever is behind."""

    channels: dict[int, Place] = Field(default_factory=lambda: dict(CHANNELS), min_length=1)
    thermal_emf: Volts = usual("2 uV", "V")
    """Of one channel's contacts."""
    relay: Seconds = usual("15 ms", "s")


class ChannelMeterTable(VoltmeterTable):
    """A voltmeter with many inputs that are answered in one query."""

    traits: tuple[Trait | Literal["one by one"], ...] = ()  # type: ignore[assignment]
    """Usually all inputs convert together; with "one by one" a relay and a conversion each."""
    channels: dict[int, Place] = Field(default_factory=lambda: dict(CHANNELS), min_length=1)
    relay: Seconds = usual("15 ms", "s")


class OscilloscopeTable(PlainTable):
    """A digital oscilloscope; input n is clipped to the n-th point."""

    points: tuple[Place, ...] = Field(
        default=("sense", "load", "shunt", "terminals"), min_length=1, max_length=8
    )
    gain: Ratio = usual("2 %", "1")
    offset: Ratio = usual("1 %", "1")
    """Of the range."""
    noise: Ratio = usual("0.05 %", "1")
    """Of the range, RMS over the whole bandwidth."""
    bits: int = Field(default=10, ge=6, le=16)
    bandwidth: PositiveHertz = usual("20 MHz", "Hz")


class InputsTable(PlainTable):
    """Digital inputs: input n watches the n-th name."""

    names: tuple[str, ...] = Field(
        default=("smoke", "interlock", "emergency stop", "line failure"),
        min_length=1,
        max_length=16,
    )


class LineSourceTable(PlainTable):
    """A source of line voltage between socket and unit."""

    voltage: PositiveVolts = usual("270 V", "V")
    """The greatest."""
    nominal: PositiveVolts = usual("230 V", "V")
    frequency: PositiveHertz = usual("50 Hz", "Hz")
    switched_on: bool = True
    """Whether somebody has switched it on before the bench begins; after a reset it is off."""
    gain: Ratio = usual("0.2 %", "1")
    readback_gain: Ratio = usual("0.2 %", "1")
    readback_noise: Volts = usual("20 mV", "V")
    reading: Seconds = usual("100 ms", "s")


class SupplyTable(PlainTable):
    """The unit's own remote control and readback; its setting errors are in ``[remote]``."""

    voltage: PositiveVolts = usual("30.5 V", "V")
    current: PositiveAmperes = usual("3.3 A", "A")
    readback_gain: Ratio = usual("0.05 %", "1")
    readback_offset: Volts = usual("10 mV", "V")
    readback_current_offset: Amperes = usual("5 mA", "A")
    readback_noise: Volts = usual("1 mV", "V")
    readback_current_noise: Amperes = usual("0.5 mA", "A")
    reading: Seconds = usual("50 ms", "s")


class SwitchTable(PlainTable):
    """Relays with a resistor each, across the load's terminals; channel 101 is the first."""

    ohms: tuple[float, ...] = Field(default=(10.0, 20.0, 40.0), min_length=1, max_length=16)
    tolerance: Ratio = usual("2 %", "1")
    relay: Seconds = usual("15 ms", "s")

    @field_validator("ohms")
    @classmethod
    def _resist(cls, ohms: tuple[float, ...]) -> tuple[float, ...]:
        if not all(ohm > 0.0 for ohm in ohms):
            raise ValueError(f"found {ohms}, expected values above 0 Ω")
        return ohms


class HandHeldTable(PlainTable):
    """A hand-held meter without an interface; `step` is the display's last digit (V or A)."""

    measures: Literal["voltage", "current"] = "voltage"
    place: Place = "sense"
    step: Ratio = usual("0.01", "1")
    counts: int = Field(default=6000, ge=1999)
    gain: Ratio = usual("0.5 %", "1")
    digits: Ratio = usual("3", "1")


class PanelTable(PlainTable):
    """The unit's digital panel meters with a port of their own; errors are in ``[panel]``."""

    reading: Seconds = usual("400 ms", "s")


KINDS: dict[str, type[InstrumentTable]] = {
    "voltmeter": OwnVoltmeterTable,
    "ammeter": AmmeterTable,
    "scanner": ScannerTable,
    "channel_meter": ChannelMeterTable,
    "oscilloscope": OscilloscopeTable,
    "inputs": InputsTable,
    "line_source": LineSourceTable,
    "supply": SupplyTable,
    "switch": SwitchTable,
    "panel": PanelTable,
    "hand_held": HandHeldTable,
}
