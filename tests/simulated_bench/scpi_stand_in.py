"""A small world with known values, and what the tests of instruments need around it."""

from typing import Literal

from simulated_bench.faces import HeatPlace, LoadMode, Place
from simulated_bench.instruments.table_top import Placed, place
from simulated_bench.instruments.tables import read_tables
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


class StandInWorld:
    """Volts and amperes as told; a load in constant current gets what it asks for."""

    def __init__(self) -> None:
        self.now = 0.0
        self.volts = 30.0
        self.amperes = 0.0
        self.ambient = 22.0
        self.person = StandInPerson()
        self.load: tuple[LoadMode, float, bool] = ("current", 0.0, False)
        self.events: list[tuple[str, str]] = []

    def advance_to(self, at: float) -> None:
        self.now = max(self.now, at)

    def set_load(self, mode: LoadMode, level: float, *, on: bool) -> None:
        self.load = (mode, level, on)
        if mode == "current":
            self.amperes = level if on else 0.0

    def voltage(self, place: Place, window_s: float = 0.0) -> float:  # noqa: ARG002
        return 0.01 * self.amperes if place == "shunt" else self.volts

    def current(self) -> float:
        return self.amperes

    def temperature(self, place: HeatPlace) -> float:
        return 40.0 if place == "heatsink" else self.ambient

    def ripple_rms(self, place: Place) -> float:  # noqa: ARG002
        return 0.0

    def log(self, kind: str, text: str) -> None:
        self.events.append((kind, text))


def table_top(
    world: StandInWorld | None = None, seed: int = 1, **raw: dict[str, object]
) -> dict[str, Placed]:
    return place(world or StandInWorld(), read_tables(raw, "test"), seed)


def ask(device: Device, message: str) -> str:
    return device.answer(message.encode("latin-1")).decode().removesuffix("\n")


def error(device: Device) -> int:
    """Return the number of the oldest error."""
    return int(ask(device, "SYST:ERR?").split(",")[0])
