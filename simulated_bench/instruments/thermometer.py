"""A thermometer with two inputs."""

from typing import Final

from numpy.random import Generator

from simulated_bench.faces import HeatPlace
from simulated_bench.instruments.instrument_table import drawn
from simulated_bench.instruments.numbers import written
from simulated_bench.instruments.tables import ThermometerTable
from simulated_bench.instruments.timing import BenchTime, Occupancy
from simulated_bench.scpi.commands import Command, Kind
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import ChannelList

INPUTS: Final[dict[int, HeatPlace]] = {101: "heatsink", 102: "ambient"}
STEP_K: Final = 1e-3
"""Resolution."""


class Thermometer:
    """One thermometer."""

    def __init__(
        self,
        table: ThermometerTable,
        generator: Generator,
        time: BenchTime,
        occupancy: Occupancy,
    ) -> None:
        self._offset_k = {
            number: drawn(table.offset, float(generator.uniform(-1.0, 1.0))) for number in INPUTS
        }
        self._noise_k = table.noise.nominal
        self._reading_s = table.reading.nominal
        self._generator = generator
        self._world = time.world
        self._occupancy = occupancy

    def commands(self) -> tuple[Command, ...]:
        """Return the table."""
        return (Command("MEASure:TEMPerature?", self._measure, (ChannelList(),), Kind.QUESTION),)

    def reset(self) -> None:
        """Do nothing: there is nothing to set."""

    def _measure(self, inputs: tuple[int, ...]) -> str:
        for number in inputs:
            if number not in INPUTS:
                raise ScpiError(-222, f"input {number}, there are 101 and 102")
        self._occupancy.spend(self._reading_s * len(inputs))
        return ",".join(written(self._seen(number)) for number in inputs)

    def _seen(self, number: int) -> float:
        value = self._world.temperature(INPUTS[number]) + self._offset_k[number]
        value += self._noise_k * float(self._generator.standard_normal())
        return round(value / STEP_K) * STEP_K
