"""Builds an instrument from its table: one function per kind of table."""

from collections.abc import Iterable
from functools import partial
from typing import Protocol

from simulated_bench.instruments.channel_meter import ChannelMeter
from simulated_bench.instruments.clock import Clock
from simulated_bench.instruments.hand_held import HandHeld
from simulated_bench.instruments.inputs import Inputs
from simulated_bench.instruments.instrument_table import InstrumentTable
from simulated_bench.instruments.line_source import LineSource
from simulated_bench.instruments.load import Load
from simulated_bench.instruments.load_trees import TREES, USUAL
from simulated_bench.instruments.meter_scale import AMPERES
from simulated_bench.instruments.more_tables import (
    AmmeterTable,
    ChannelMeterTable,
    HandHeldTable,
    InputsTable,
    LineSourceTable,
    OscilloscopeTable,
    OwnVoltmeterTable,
    PanelTable,
    ScannerTable,
    SupplyTable,
    SwitchTable,
)
from simulated_bench.instruments.oscilloscope import Oscilloscope
from simulated_bench.instruments.panel import Panel
from simulated_bench.instruments.person import PersonInstrument
from simulated_bench.instruments.scanner import Scanner
from simulated_bench.instruments.supply import Supply
from simulated_bench.instruments.surroundings import Source, Surroundings
from simulated_bench.instruments.switch import Switch
from simulated_bench.instruments.tables import (
    PLACES,
    ClockTable,
    LoadTable,
    PersonTable,
    ThermometerTable,
    VoltmeterTable,
)
from simulated_bench.instruments.thermometer import Thermometer
from simulated_bench.instruments.voltmeter import Voltmeter
from simulated_bench.scpi.commands import Command


class Instrument(Protocol):
    """What every instrument has."""

    def commands(self) -> Iterable[Command]:
        """Return the table of its commands."""

    def reset(self) -> None:
        """Carry out *RST."""


def build(table: InstrumentTable, around: Surroundings) -> Instrument:  # noqa: PLR0911, PLR0912
    """Return the instrument of a table."""
    match table:
        case ClockTable():
            return Clock(around.time)
        case PersonTable():
            return PersonInstrument(around)
        case LoadTable():
            trees = [tree for trait, tree in TREES.items() if trait in table.traits]
            return Load(
                table,
                around.generator,
                around.time,
                around.occupancy,
                around.status,
                *(trees or [USUAL]),
            )
        case ThermometerTable():
            return Thermometer(table, around.generator, around.time, around.occupancy)
        case ChannelMeterTable():  # before the voltmeter, as it has all that one has
            return ChannelMeter(table, around)
        case VoltmeterTable():
            return Voltmeter(_source(table, around), table, around)
        case AmmeterTable():
            source = partial(around.time.world.current, "wiring")
            return Voltmeter(source, table, around, AMPERES)
        case ScannerTable():
            return Scanner(table, around)
        case OscilloscopeTable():
            return Oscilloscope(table, around)
        case InputsTable():
            return Inputs(table, around)
        case LineSourceTable():
            return LineSource(table, around)
        case SupplyTable():
            return Supply(table, around)
        case SwitchTable():
            return Switch(table, around)
        case PanelTable():
            return Panel(table, around)
        case HandHeldTable():
            return HandHeld(table, around)
        case _:
            raise TypeError(f"{around.name}: found {type(table).__name__}, expected a known table")


def _source(table: VoltmeterTable, around: Surroundings) -> Source:
    """Return what is at a voltmeter's input: a place, or the scanner before it."""
    if isinstance(table, OwnVoltmeterTable) and table.behind is not None:
        return around.routed[table.behind]
    place, world = table.place or PLACES[around.name], around.time.world
    return lambda window_s: world.voltage(place, window_s)
