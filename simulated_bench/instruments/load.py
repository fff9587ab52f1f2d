"""The electronic load: settings and readback with their errors, ratings, latching protection."""

from collections.abc import Callable
from functools import partial
from typing import Final, TypeVar

from numpy.random import Generator

from simulated_bench.faces import LoadMode
from simulated_bench.instruments.instrument_table import drawn
from simulated_bench.instruments.load_trees import LEVELS, USUAL, LoadTree
from simulated_bench.instruments.numbers import within, written
from simulated_bench.instruments.tables import LoadTable
from simulated_bench.instruments.timing import BenchTime, Occupancy
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Boolean, Choice, Extreme, Number, Word
from simulated_bench.scpi.status import Status

OVER_VOLTAGE, OVER_CURRENT, OVER_POWER = 1, 2, 8
"""Bits of the questionable status: voltage, current, power (SCPI-1999, volume 1, 9.4)."""

LOWEST_OHM, HIGHEST_OHM = 0.05, 10000.0
Result = TypeVar("Result")
_UNIT: Final = {"current": "A", "voltage": "V", "resistance": "OHM", "power": "W"}

PROTECTION_S: Final = 0.01
"""How long after a step a current or a power counts."""


class Load:
    """One electronic load."""

    def __init__(
        self,
        table: LoadTable,
        generator: Generator,
        time: BenchTime,
        occupancy: Occupancy,
        status: Status,
        tree: LoadTree = USUAL,
    ) -> None:
        def half_widths() -> float:
            return float(generator.uniform(-1.0, 1.0))

        self._setting_gain = drawn(table.setting_gain, half_widths())
        self._setting_offset: dict[LoadMode, float] = {
            "current": drawn(table.setting_offset, half_widths()),
            "voltage": drawn(table.setting_voltage_offset, half_widths()),
            "resistance": 0.0,
            "power": 0.0,
        }
        self._current_gain = drawn(table.readback_gain, half_widths())
        self._voltage_gain = drawn(table.readback_gain, half_widths())
        self._current_offset_a = drawn(table.readback_offset, half_widths())
        self._voltage_offset_v = drawn(table.readback_voltage_offset, half_widths())
        self._noise_a = table.readback_noise.nominal
        self._reading_s = table.reading.nominal
        self._bounds: dict[LoadMode, tuple[float, float]] = {
            "current": (0.0, table.current.nominal),
            "voltage": (0.0, table.voltage.nominal),
            "resistance": (LOWEST_OHM, HIGHEST_OHM),
            "power": (0.0, table.power_w),
        }
        self._trip_at = 1.0 + table.trips_beyond.nominal
        self._tree = tree
        self._generator = generator
        self._world = time.world
        self._occupancy = occupancy
        self._status = status
        self._tripped = 0
        self._stepped_at = 0.0
        self._on = False
        self._mode: LoadMode = "current"
        self._levels = self._start_levels()
        self._time = time
        time.watchers.append(self.watch)

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        question, tree = Kind.QUESTION, self._tree
        modes, said = Choice(dict(tree.mode_words)), tree.mode_said
        switch, protection = tree.switch, tree.protection
        table = [
            Command(tree.mode, self._set_mode, (modes,)),
            Command(f"{tree.mode}?", lambda: said[self._mode], kind=question),
            Command(switch, self._set_input, (Boolean(),)),
            Command(f"{switch}?", lambda: tree.switch_said[self._on], kind=question),
            Command(f"{protection}:CLEar", self._clear_trip),
            Command(f"{protection}:TRIPped?", lambda: str(int(self._tripped > 0)), kind=question),
        ]
        for root in tree.measure:
            table += [
                Command(f"{root}:VOLTage[:DC]?", self._measure_voltage, (), question, "V"),
                Command(f"{root}:CURRent[:DC]?", self._measure_current, (), question, "A"),
                Command(f"{root}:POWer[:DC]?", self._measure_power, (), question, "W"),
            ]
        for name, mode in LEVELS.items():
            level, unit = tree.level.format(name), _UNIT[mode]
            setting: Callable[..., None] = partial(self.set_level, mode)
            asking: Callable[..., str] = partial(self.level, mode)
            if "#" in level:
                setting, asking = _first_only(setting), _first_only(asking)
            table.append(Command(level, setting, (Number(unit),)))
            table.append(Command(level + "?", asking, (Extreme(),), question, unit))
        return tuple(table)

    def reset(self) -> None:
        """Switch the input off; all levels to their least load. A trip stays latched."""
        self._on = False
        self._mode = "current"
        self._levels = self._start_levels()
        self._apply()

    def watch(self) -> None:
        """Trip when a rating is exceeded by more than the protection allows.

        Too much current or power counts only some milliseconds after a step (common practice, no
        source): the step itself empties the unit's output capacitor through the load.
        """
        if not self._on:
            return
        waited = self._world.now >= self._stepped_at + PROTECTION_S
        current, voltage = self._world.current("load"), self._world.voltage("load")
        bits = 0
        if voltage > self._trip_at * self._bounds["voltage"][1]:
            bits |= OVER_VOLTAGE
        if waited and current > self._trip_at * self._bounds["current"][1]:
            bits |= OVER_CURRENT
        if waited and voltage * current > self._trip_at * self._bounds["power"][1]:
            bits |= OVER_POWER
        if bits:
            self.trip(bits, f"protection tripped at {voltage:.4g} V, {current:.4g} A")

    def trip_by_itself(self) -> None:
        """Trip without a cause, as a worn or over-sensitive protection does."""
        self.trip(OVER_CURRENT, "protection tripped")

    def trip(self, bits: int, why: str) -> None:
        """Switch the input off and keep it off until the protection is cleared."""
        self._tripped |= bits
        self._on = False
        self._apply()
        self._status.questionable.set(self._tripped)
        self._status.put(ScpiError(-300, why))
        self._world.log("trip", why)

    def _start_levels(self) -> dict[LoadMode, float]:
        highest_v = self._bounds["voltage"][1]
        return {"current": 0.0, "voltage": highest_v, "resistance": HIGHEST_OHM, "power": 0.0}

    def _apply(self) -> None:
        level = self._levels[self._mode]
        true = level * (1.0 + self._setting_gain) + self._setting_offset[self._mode]
        self._world.set_load(self._mode, max(0.0, true), on=self._on)
        self._time.stepped()
        self._stepped_at = self._world.now
        self.watch()
        self._time.at(self._stepped_at + PROTECTION_S, self.watch)

    def _set_mode(self, mode: LoadMode) -> None:
        self._mode = mode
        self._apply()

    def _set_input(self, on: bool) -> None:  # a parameter's value
        if on and self._tripped:
            raise ScpiError(-221, "the protection has tripped; clear it first")
        self._on = on
        self._apply()

    def _clear_trip(self) -> None:
        self._tripped = 0
        self._status.questionable.set(0)

    def set_level(self, mode: LoadMode, level: float | Word) -> None:
        """Set a mode's level; it acts when the load is in that mode."""
        low, high = self._bounds[mode]
        self._levels[mode] = within(level, low, high, self._start_levels()[mode], mode)
        if mode == self._mode:
            self._apply()

    def level(self, mode: LoadMode, word: Word | None = None) -> str:
        """Return a mode's level, or its bound."""
        low, high = self._bounds[mode]
        if word is None:
            return written(self._levels[mode])
        return written(within(word, low, high, self._start_levels()[mode], mode))

    def _measure_current(self) -> str:
        return written(self._seen_current())

    def _measure_voltage(self) -> str:
        return written(self._seen_voltage())

    def _measure_power(self) -> str:
        return written(self._seen_current() * self._seen_voltage())

    def _seen_current(self) -> float:
        self._occupancy.spend(self._reading_s)
        noise = self._noise_a * float(self._generator.standard_normal())
        true_a = self._world.current("load", self._reading_s)
        return true_a * (1.0 + self._current_gain) + self._current_offset_a + noise

    def _seen_voltage(self) -> float:
        self._occupancy.spend(self._reading_s)
        true_v = self._world.voltage("load", self._reading_s)
        return true_v * (1.0 + self._voltage_gain) + self._voltage_offset_v


def _first_only(handler: Callable[..., Result]) -> Callable[..., Result]:
    """Return a handler for a numbered level, of which only the first is there."""

    def numbered(number: int, *values: float | Word) -> Result:
        if number != 1:
            raise ScpiError(-114, f"level {number}, there is 1")
        return handler(*values)

    return numbered
