"""Puts the shipped instruments on the table: name to SCPI device, in the order of ports."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, cast

from simulated_bench.draw import Draws
from simulated_bench.faces import WorldFace
from simulated_bench.instruments.clock import Clock
from simulated_bench.instruments.load import Load
from simulated_bench.instruments.person import PersonInstrument
from simulated_bench.instruments.tables import (
    PLACES,
    InstrumentTable,
    LoadTable,
    ThermometerTable,
    VoltmeterTable,
)
from simulated_bench.instruments.thermometer import Thermometer
from simulated_bench.instruments.timing import BenchTime, Occupancy
from simulated_bench.instruments.voltmeter import Voltmeter
from simulated_bench.scpi.device import Device
from simulated_bench.scpi.status import Status

MAKER: Final = "WORKSHOP"
FIRMWARE: Final = "1.0"

Instrument = Clock | Voltmeter | Load | Thermometer | PersonInstrument


@dataclass(frozen=True, slots=True)
class Placed:
    """One instrument on the table."""

    device: Device
    clients: int


def place(world: WorldFace, tables: Mapping[str, InstrumentTable], seed: int) -> dict[str, Placed]:
    """Return every instrument by name."""
    time = BenchTime(world)
    draws = Draws(seed)
    placed: dict[str, Placed] = {}
    for number, (name, table) in enumerate(tables.items(), start=1):
        occupancy = Occupancy(time)
        status = Status(table.queue_length)
        instrument = _build(name, table, draws, time, occupancy, status)
        model = name.upper().replace("_", "-")
        identity = table.identity or f"{MAKER},{model},SIM{number:04d},{FIRMWARE}"
        device = Device(identity, instrument.commands(), instrument.reset, occupancy, status)
        placed[name] = Placed(device, table.clients)
    return placed


def _build(
    name: str,
    table: InstrumentTable,
    draws: Draws,
    time: BenchTime,
    occupancy: Occupancy,
    status: Status,
) -> Instrument:
    if name == "clock":
        return Clock(time)
    if name == "person":
        return PersonInstrument(time)
    generator = draws.generator(f"instruments.{name}")
    if name == "load":
        return Load(cast("LoadTable", table), generator, time, occupancy, status)
    if name == "thermometer":
        return Thermometer(cast("ThermometerTable", table), generator, time, occupancy)
    meter = cast("VoltmeterTable", table)
    return Voltmeter(meter.place or PLACES[name], meter, generator, time, occupancy)
