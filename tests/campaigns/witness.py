"""What really happened: seen inside the simulated bench, where no fault of an instrument reaches.

The bench leaves a file when it ends: whether its faults began and what they touched, and the true
voltage and current at that moment, to hold "made safe, verified" against.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sequencer.run.safe_report import CURRENT_BOUND_A, VOLTAGE_BOUND_V
from simulated_bench.course import Course
from simulated_bench.faces import LoadMode
from simulated_bench.instruments.faults.book import FaultBook
from simulated_bench.instruments.faults.entries import ANSWER, READING, SETTING
from simulated_bench.world import World

Afterwards = Callable[[], None]


@dataclass(frozen=True)
class Seen:
    """The bench at its end; all true.

    `begun` has the bench times of faults, `load_off_s` when the load's input was last switched off.
    `hottest_degc` is of the junction, `most_watts` of the load, both over the whole run.
    """

    begun: Mapping[str, float] = field(default_factory=dict)
    touched: frozenset[str] = frozenset()
    volts: float = 0.0
    amperes: float = 0.0
    load_off_s: float = float("nan")
    hottest_degc: float = 0.0
    most_watts: float = 0.0
    damage: tuple[str, ...] = ()
    peak_kib: int = 0
    started: bool = False

    @property
    def never_on(self) -> bool:
        """Whether the load never drew anything."""
        return self.started and self.most_watts == 0.0

    @property
    def without_energy(self) -> bool:
        return abs(self.volts) <= VOLTAGE_BOUND_V and abs(self.amperes) <= CURRENT_BOUND_A

    def met(self, what: str) -> bool:
        """Return whether a fault had its effect: one of answers, readings, settings by a query."""
        return what in (self.touched if what in ANSWER | READING | SETTING else self.begun)


def file_of(folder: Path) -> Path:
    return folder / "seen.json"


def watching(folder: Path) -> Callable[[str], Afterwards | None]:
    """Return what a forked program is to call first, for `forked`."""

    def hook(module: str) -> Afterwards | None:
        if module != "simulated_bench":
            return None
        kept: dict[str, Any] = {"hottest_degc": -273.0, "most_watts": 0.0, "load_off_s": None}
        _keep(World, kept)
        _keep(FaultBook, kept)
        _follow(kept)
        return lambda: _leave(folder, kept)

    return hook


def _keep(kind: type, kept: dict[str, Any]) -> None:
    made = kind.__init__  # type: ignore[misc]  # only in a process that ends with the bench

    def making(self: Any, *values: Any, **named: Any) -> None:
        made(self, *values, **named)
        kept[kind.__name__] = self

    kind.__init__ = making  # type: ignore[misc]


def _follow(kept: dict[str, Any]) -> None:
    """Follow what the bench goes through, cell by cell of its own time, and the load's switch."""
    end_cell, set_load = Course._end_cell, World.set_load

    def ending(self: Course, at: float) -> None:
        point = self._cell().point
        end_cell(self, at)
        kept["hottest_degc"] = max(kept["hottest_degc"], self._heat.junction)
        kept["most_watts"] = max(kept["most_watts"], point.load_v * point.load_a)

    def setting(self: World, mode: LoadMode, level: float, *, on: bool) -> None:
        if self.controls.load.on and not on:
            kept["load_off_s"] = self.now
        set_load(self, mode, level, on=on)

    Course._end_cell = ending  # type: ignore[method-assign]
    World.set_load = setting  # type: ignore[method-assign]


def _leave(folder: Path, kept: dict[str, Any]) -> None:
    if "World" not in kept:
        return
    world, log = kept["World"], kept["FaultBook"].log
    text = json.dumps(
        {
            "begun": {one.what: one.time_s for one in log if one.text == "begins"},
            "touched": sorted({one.what for one in log if one.text.startswith("touches")}),
            "volts": world.voltage("terminals"),
            "amperes": world.current(),
            **{key: kept[key] for key in ("hottest_degc", "most_watts", "load_off_s")},
            "damage": [one.text for one in world.events if one.kind == "damage"],
            "peak_kib": peak_kib(),
            "started": True,
        }
    )
    file_of(folder).write_text(text)


def peak_kib() -> int:
    """Return the greatest resident memory that this process ever had."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1])
    return 0


def seen(folder: Path) -> Seen:
    """Return what the bench left; an empty one where it never came up or was killed."""
    if not file_of(folder).exists():
        return Seen()
    found = json.loads(file_of(folder).read_text())
    found["touched"] = frozenset(found["touched"])
    found["damage"] = tuple(found["damage"])
    return Seen(**found)
