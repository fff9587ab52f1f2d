"""What an instrument is built from, whatever its kind."""

from collections.abc import Callable
from dataclasses import dataclass, field

from numpy.random import Generator

from simulated_bench.instruments.timing import BenchTime, Occupancy
from simulated_bench.scpi.status import Status

Source = Callable[[float], float]
"""Returns the true value at a meter's input, averaged over a window of so many seconds from now."""


@dataclass(frozen=True, slots=True)
class Surroundings:
    """One instrument's randomness, its part in bench time, its status, and the cables to others."""

    name: str
    generator: Generator
    time: BenchTime
    occupancy: Occupancy
    status: Status
    routed: dict[str, Source] = field(default_factory=dict)
    """The common connection of each scanner, by its name; shared by all instruments."""
    displays: dict[str, Callable[[], str]] = field(default_factory=dict)
    """What a person sees on each meter without an interface; shared by all instruments."""

    def uniform(self) -> float:
        """Return a number from −1 to 1, as half-widths are drawn with."""
        return float(self.generator.uniform(-1.0, 1.0))

    def normal(self) -> float:
        """Return a normal number of standard deviation 1."""
        return float(self.generator.standard_normal())
