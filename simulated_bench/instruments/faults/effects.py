"""What faults do inside an instrument: to its readings, to its settings, or all at once."""

from collections.abc import Callable
from functools import partial
from typing import Final

from simulated_bench.instruments.faults.book import Afflicted, FaultBook
from simulated_bench.instruments.faults.entries import READING, SETTING
from simulated_bench.scpi.commands import Command
from simulated_bench.scpi.device import Device, Run
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Value

READS: Final = ("READ", "FETC", "MEAS", "DATA")
"""SCPI's words for a measured value (SCPI-1999, volume 2, 3; SENSe:DATA in 18)."""


def afflict(device: Device, afflicted: Afflicted, book: FaultBook) -> None:
    """Let an instrument's faults reach into it, but only while it has any."""
    last: dict[tuple[str, tuple[Value, ...]], str] = {}

    def reading(key: tuple[str, tuple[Value, ...]], pattern: str, run: Run) -> str | None:
        value = run()
        fault = afflicted.active(READING)
        if value is None or fault is None:
            last[key] = value or ""
            return value
        what = fault.entry.what
        book.touch(fault, pattern)
        if what == "frozen reading":
            return last.setdefault(key, value)
        said = "9.9E+37" if what == "overload" else "9.91E+37"
        return ",".join(said for _ in value.split(","))

    def setting(pattern: str, run: Run) -> str | None:
        fault = afflicted.active(SETTING)
        if fault is None:
            return run()
        book.touch(fault, pattern)
        return None

    def wrap(command: Command, values: tuple[Value, ...], run: Run) -> Run:
        pattern = command.pattern
        if command.query and is_reading(pattern):
            quantity = pattern.partition(":")[2]
            return partial(reading, (quantity, values), pattern, run)
        if command.sets:
            return partial(setting, pattern, run)
        return run

    def changed() -> None:
        device.intercept(wrap if afflicted.armed else None)

    afflicted.watchers.append(changed)
    afflicted.sudden["reset"] = device.power_cycle
    afflicted.sudden["error queue full"] = partial(_fill, device)


def let_trip(afflicted: Afflicted, trip: Callable[[], None]) -> None:
    """Name what trips the instrument's protection."""
    afflicted.sudden["trip"] = trip


def is_reading(pattern: str) -> bool:
    """Return whether a question's answer is a measured value."""
    return pattern.replace("[SENSe:]", "").upper().startswith(READS)


def _fill(device: Device) -> None:
    for _ in range(device.status.queue_length + 1):
        device.status.put(ScpiError(-300, "queue filled"))
