"""A small world with known values, and what the tests of instruments need around it."""

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from simulated_bench.faces import CurrentPlace, Event, HeatPlace, LoadMode, Place
from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import Placed, place
from simulated_bench.scenario_faults import UnitFaultTable
from simulated_bench.scpi.device import Device


class StandInPerson:
    def __init__(self) -> None:
        self.heard: list[str] = []
        self.shown: list[tuple[float, bool]] = []

    def instruct(self, text: str) -> None:
        self.heard.append(text)

    def show(self, value: float, *, within: bool) -> None:
        self.shown.append((value, within))

    def state(self) -> tuple[Literal["BUSY", "DONE", "CONFUSED"], str]:
        return "DONE", 'said "yes"'

    def finish(self) -> None:
        self.heard.append("finish")

    def read(self, which: Literal["voltage", "current"]) -> tuple[float, float]:
        return (30.1 if which == "voltage" else 1.02), 2.0


class StandInWorld:
    """Volts and amperes as told; a load in constant current gets what it asks for."""

    def __init__(self) -> None:
        self.now = 0.0
        self.volts = 30.0
        self.amperes = 0.0
        self.ambient = 22.0
        self.person = StandInPerson()
        self.load: tuple[LoadMode, float, bool] = ("current", 0.0, False)
        self.events: list[Event] = []
        self.programmable = True
        self.programmed: tuple[float, float, bool] | None = None
        self.fed: tuple[float, float, bool] | None = None
        self.parallel_s = 0.0
        self.raised: set[str] = set()
        self.struck: list[UnitFaultTable] = []
        self.relieved: list[UnitFaultTable] = []
        self.ripple_v = 0.0

    def advance_to(self, at: float) -> None:
        self.now = max(self.now, at)

    def set_load(self, mode: LoadMode, level: float, *, on: bool) -> None:
        self.load = (mode, level, on)
        if mode == "current":
            self.amperes = level if on else 0.0

    def voltage(self, place: Place, window_s: float = 0.0) -> float:  # noqa: ARG002
        return 0.01 * self.amperes if place == "shunt" else self.volts

    def current(self, place: CurrentPlace = "wiring", _window_s: float = 0.0) -> float:
        return self.amperes + (0.0 if place == "load" else self.volts * self.parallel_s)

    def program(self, voltage: float, current_limit: float, *, output_on: bool) -> None:
        self.programmed = (voltage, current_limit, output_on)

    def set_parallel(self, conductance_s: float) -> None:
        self.parallel_s = conductance_s

    def feed_line(self, volts: float, hertz: float, *, on: bool) -> None:
        self.fed = (volts, hertz, on)

    def line(self) -> tuple[float, float]:
        volts, hertz, on = self.fed or (230.0, 50.0, True)
        return (volts if on else 0.0), hertz

    def limiting(self) -> bool:
        return self.programmed is not None and self.amperes >= self.programmed[1]

    def interlock(self, name: str) -> bool:
        return name in self.raised

    def waveform(self, place: Place, times: NDArray[np.float64]) -> NDArray[np.float64]:
        ripple = np.sqrt(2.0) * self.ripple_v * np.sin(2.0 * np.pi * 100.0 * times)
        return np.asarray(self.voltage(place) + ripple)

    def noise_rms(self, place: Place) -> float:  # noqa: ARG002
        return 0.0

    def hand_over_faults(self) -> tuple[UnitFaultTable, ...]:
        return ()

    def strike(self, fault: UnitFaultTable) -> None:
        self.struck.append(fault)

    def relieve(self, fault: UnitFaultTable) -> None:
        self.relieved.append(fault)

    def temperature(self, place: HeatPlace) -> float:
        return 40.0 if place == "heatsink" else self.ambient

    def ripple_rms(self, place: Place) -> float:  # noqa: ARG002
        return 0.0

    def log(self, kind: str, text: str) -> None:
        self.events.append(Event(self.now, kind, text))


def table_top(
    world: StandInWorld | None = None, seed: int = 1, **raw: dict[str, object]
) -> dict[str, Placed]:
    return place(world or StandInWorld(), read_tables(raw, "test"), seed)


def ask(device: Device, message: str) -> str:
    return device.answer(message.encode("latin-1")).decode().removesuffix("\n")


def error(device: Device) -> int:
    """Return the number of the oldest error."""
    return int(ask(device, "SYST:ERR?").split(",")[0])
