"""What a scenario says about its instruments: one model per kind, unknown keys refused.

An empty table gives the instrument's usual self. Half-widths are of rectangular distributions;
by default they lie within what the shipped benches state.
"""

from typing import Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from simulated_bench.errors import ScenarioError
from simulated_bench.faces import Place
from simulated_bench.instruments.load_trees import TREES
from simulated_bench.quantities import (
    Amperes,
    DegreesCelsius,
    Kelvins,
    PerKelvin,
    Ratio,
    Seconds,
    Uncertain,
    Volts,
    parse,
)


def _is(text: str, dimension: str) -> Any:  # pydantic checks what a default is given for
    return Field(default=parse(text, dimension))


Trait = Literal[
    "cr lf", "unit suffix", "echo", "no error queue", "slow first answer", "remote lock"
]
"""Ways that any instrument may have; see `simulated_bench.scpi.manners`."""

VoltmeterTrait = Trait | Literal["line cycles", "free running"]
"""Integration set in line cycles; conversions that never stop and can't be started."""

LoadTrait = Trait | Literal["static levels", "mode words"]
"""Command trees of `simulated_bench.instruments.load_trees`."""


class InstrumentTable(BaseModel):
    """What every instrument has."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    clients: int = Field(default=8, ge=1, le=64)
    """Connections at a time; one more is closed at once."""
    identity: str | None = Field(default=None, pattern=r"^[ -~]{1,72}$")
    queue_length: int = Field(default=20, ge=2, le=1000)
    first_answer: Seconds = _is("1.5 s", "s")
    """With the trait "slow first answer": how long a new client waits, by the computer's clock."""
    traits: tuple[str, ...] = ()
    """What makes this instrument differ from one that follows the standards; see each kind."""


class PlainTable(InstrumentTable):
    """An instrument with one command tree."""

    traits: tuple[Trait, ...] = ()


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
    gain: Ratio = _is("0.003 %", "1")
    offset: Volts = _is("0.4 mV", "V")
    offset_low: Volts = _is("10 uV", "V")
    noise: Volts = _is("15 uV", "V")
    noise_low: Volts = _is("0.5 uV", "V")
    temperature_gain: PerKelvin = _is("3 ppm/K", "1/K")
    temperature_offset: Volts = _is("10 uV", "V")
    temperature_offset_low: Volts = _is("0.2 uV", "V")
    stability_gain: Ratio = _is("3 ppm", "1")
    stability_offset: Volts = _is("15 uV", "V")
    stability_offset_low: Volts = _is("0.5 uV", "V")
    thermal_emf: Volts = _is("2 uV", "V")
    calibrated_at: DegreesCelsius = _is("22 °C", "degC")
    overhead: Seconds = _is("10 ms", "s")


class LoadTable(InstrumentTable):
    """The electronic load's setting, readback, ratings and protection."""

    traits: tuple[LoadTrait, ...] = ()
    setting_gain: Ratio = _is("0.1 %", "1")
    setting_offset: Amperes = _is("5 mA", "A")
    setting_voltage_offset: Volts = _is("20 mV", "V")
    readback_gain: Ratio = _is("0.05 %", "1")
    readback_offset: Amperes = _is("3 mA", "A")
    readback_voltage_offset: Volts = _is("10 mV", "V")
    readback_noise: Amperes = _is("0.2 mA", "A")
    current: Amperes = _is("5 A", "A")
    voltage: Volts = _is("60 V", "V")
    power_w: float = Field(default=150.0, gt=0.0)
    trips_beyond: Ratio = _is("5 %", "1")
    """Protection trips this far above a rating."""
    reading: Seconds = _is("20 ms", "s")

    @field_validator("traits")
    @classmethod
    def _one_tree(cls, traits: tuple[LoadTrait, ...]) -> tuple[LoadTrait, ...]:
        if len(TREES.keys() & set(traits)) > 1:
            raise ValueError(f"found {', '.join(traits)}, expected one command tree at most")
        return traits


class ThermometerTable(PlainTable):
    """A thermometer with inputs 101 (heatsink) and 102 (ambient)."""

    offset: Kelvins = _is("0.5 K", "K")
    noise: Kelvins = _is("0.02 K", "K")
    reading: Seconds = _is("50 ms", "s")


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

ON_DEMAND: Final[dict[str, type[InstrumentTable]]] = {"control": ControlTable}
"""Instruments that are there only when a scenario has a table for them; their ports come last."""

PLACES: Final[dict[str, Literal["sense", "load", "shunt", "terminals"]]] = {
    "voltmeter_sense": "sense",
    "voltmeter_load": "load",
    "voltmeter_shunt": "shunt",
    "voltmeter_terminals": "terminals",
}


def read_tables(raw: dict[str, dict[str, Any]], scenario: str) -> dict[str, InstrumentTable]:
    """Return the table of every instrument that is there, in the order of ports.

    Raises
    ------
    ScenarioError
        With every mistake at once.
    """
    models = SHIPPED | {name: model for name, model in ON_DEMAND.items() if name in raw}
    mistakes = [
        f"{scenario}: instruments.{name}: found an unknown instrument, "
        f"expected one of {', '.join(SHIPPED | ON_DEMAND)}"
        for name in raw
        if name not in models
    ]
    tables: dict[str, InstrumentTable] = {}
    for name, model in models.items():
        try:
            tables[name] = model.model_validate(raw.get(name, {}))
        except ValidationError as error:
            mistakes.extend(
                f"{scenario}: instruments.{name}.{'.'.join(str(p) for p in mistake['loc'])}: "
                f"{mistake['msg'].removeprefix('Value error, ')}"
                for mistake in error.errors()
            )
    if mistakes:
        raise ScenarioError(tuple(mistakes))
    return tables


def drawn(quantity: Uncertain, uniform: float) -> float:
    """Return the error that a uniform number from −1 to 1 picks within a half-width."""
    return quantity.nominal * uniform
