"""What a meter measures: its quantity's name, its ranges and their resolution."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import nan
from typing import Final

from simulated_bench.instruments.numbers import NOT_A_NUMBER, OVERLOAD

OVERRANGE: Final = 1.2
"""A range is good up to this part of its name; beyond it, overload (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Scale:
    """One quantity as a meter has it; V or A."""

    header: str
    """The quantity's SCPI node."""
    said: str
    """The function as it is answered."""
    unit: str
    step: Mapping[float, float]
    """Resolution by range, ranges ascending."""
    default: float
    low_up_to: float
    """Up to this range the `…_low` values of an accuracy statement hold."""

    def smallest(self, least: float) -> float:
        """Return the smallest range that holds a value no greater than the greatest range."""
        return next(range_ for range_ in self.step if range_ >= least)

    def shown(self, value: float, range_: float) -> float:
        """Return what is shown of a value on a range: rounded, overload, or not a number."""
        if abs(value) > OVERRANGE * range_:
            return OVERLOAD if value > 0 else -OVERLOAD
        if not abs(value) < NOT_A_NUMBER:
            return nan
        step = self.step[range_]
        return round(value / step) * step

    @property
    def greatest(self) -> float:
        """The greatest range."""
        return max(self.step)

    @property
    def least(self) -> float:
        """The smallest range."""
        return min(self.step)


VOLTS: Final = Scale(
    "VOLTage",
    "VOLT:DC",
    "V",
    {0.1: 1e-7, 1.0: 1e-6, 10.0: 1e-6, 40.0: 1e-5, 400.0: 1e-4},
    default=40.0,
    low_up_to=1.0,
)
AMPERES: Final = Scale(
    "CURRent",
    "CURR:DC",
    "A",
    {0.04: 1e-8, 0.4: 1e-7, 4.0: 1e-6, 10.0: 1e-5},
    default=4.0,
    low_up_to=0.4,
)
