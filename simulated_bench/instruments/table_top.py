"""Puts the shipped instruments on the table: name to SCPI device, in the order of ports."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from simulated_bench.draw import Draws
from simulated_bench.errors import ScenarioError
from simulated_bench.faces import WorldFace
from simulated_bench.instruments.control import Control
from simulated_bench.instruments.faults.book import Afflicted, FaultBook
from simulated_bench.instruments.faults.effects import afflict, let_trip
from simulated_bench.instruments.faults.entries import read_entries
from simulated_bench.instruments.faults.link import Answer, Link
from simulated_bench.instruments.instrument_table import InstrumentTable
from simulated_bench.instruments.kinds import Instrument, build
from simulated_bench.instruments.load import Load
from simulated_bench.instruments.surroundings import Source, Surroundings
from simulated_bench.instruments.timing import BenchTime, Occupancy
from simulated_bench.scpi.device import Device
from simulated_bench.scpi.manners import Manners, echoing
from simulated_bench.scpi.status import Status

MAKER: Final = "WORKSHOP"
FIRMWARE: Final = "1.0"


@dataclass(frozen=True, slots=True)
class Placed:
    """One instrument on the table."""

    device: Device
    clients: int
    link: Link
    answer: Answer
    first_answer_s: float
    """How long the first answer to a new client takes, by the computer's clock; 0 for no time."""


def place(
    world: WorldFace,
    tables: Mapping[str, InstrumentTable],
    seed: int,
    faults: Iterable[Mapping[str, Any]] = (),
    scenario: str = "scenario",
) -> dict[str, Placed]:
    """Return every instrument by name; `faults` as a scenario's tables ``[[faults]]`` have them.

    Raises
    ------
    ScenarioError
        With every mistake in the faults.
    """
    time = BenchTime(world)
    draws = Draws(seed)
    book = FaultBook(time, draws)
    answers: dict[str, Answer] = {}
    placed: dict[str, Placed] = {}
    routed: dict[str, Source] = {}
    displays: dict[str, Callable[[], str]] = {}
    for number, (name, table) in enumerate(tables.items(), start=1):
        occupancy = Occupancy(time)
        manners = _manners(table)
        status = Status(table.queue_length if manners.error_queue else 0)
        generator = draws.generator(f"instruments.{name}")
        around = Surroundings(name, generator, time, occupancy, status, routed, displays)
        instrument: Instrument = Control(book, world) if name == "control" else build(table, around)
        model = name.upper().replace("_", "-")
        identity = table.identity or f"{MAKER},{model},SIM{number:04d},{FIRMWARE}"
        device = Device(
            identity, instrument.commands(), instrument.reset, occupancy, status, manners
        )
        # What puts faults in has none itself.
        afflicted = Afflicted() if name == "control" else book.of(name)
        afflict(device, afflicted, book)
        if isinstance(instrument, Load):
            let_trip(afflicted, instrument.trip_by_itself)
        answers[name] = echoing(device.answer, manners)
        link = Link(name, answers, afflicted, book)
        slow_s = table.first_answer.nominal if "slow first answer" in table.traits else 0.0
        placed[name] = Placed(device, table.clients, link, answers[name], slow_s)
    entries, mistakes = read_entries(faults, book.names)
    if mistakes:
        raise ScenarioError(tuple(f"{scenario}: {mistake}" for mistake in mistakes))
    for entry in entries:
        book.add(entry)
    return placed


def _manners(table: InstrumentTable) -> Manners:
    traits = table.traits
    return Manners(
        line_end=b"\r\n" if "cr lf" in traits else b"\n",
        unit_suffix="unit suffix" in traits,
        error_queue="no error queue" not in traits,
        remote_lock="remote lock" in traits,
        echo="echo" in traits,
    )
