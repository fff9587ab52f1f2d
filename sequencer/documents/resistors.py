"""Fixed resistors beside a load that can't reach the current alone, and which ones it would need.

A resistor takes V/R whether the load is on or off: only a switch or a hand ends that.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import ceil
from typing import Literal, Self

from pydantic import Field, model_validator

from sequencer.documents.flaws import Flaw, raise_flaws
from sequencer.documents.quantities import (
    PositiveOhms,
    PositiveRatio,
    PositiveWatts,
    format_quantity,
)
from sequencer.documents.tables import Strict

DERATING = 2.0
"""A resistor is bought for twice the power it takes, as its rating holds on a large, cool heatsink
(common practice, no source)."""

USUAL_TOLERANCE = 0.05
OWN_SHARE = 0.98
"""Of its ratings the load gets this part, as its level is trimmed by what the ammeter says."""

LEAST_OWN_A = 0.02
"""So much is left to the load at least: it sets the current, the resistors only take weight off."""

MOST = 8

HANDY = 0.8
"""Advice names resistances down to this part of the highest that does: lower ones get hotter."""


class Resistor(Strict):
    """A fixed resistor across the load's terminals, connected by a switch or by hand.

    `power` is what it may take where it is mounted; `output` is the switch's relay.
    """

    resistance: PositiveOhms
    power: PositiveWatts
    tolerance: PositiveRatio = USUAL_TOLERANCE
    by: Literal["switch", "hand"]
    switch: str | None = None
    output: str | None = Field(default=None, min_length=1)

    @model_validator(mode="after")
    def _has_its_switch(self) -> Self:
        raise_flaws(self._flaws())
        return self

    def _flaws(self) -> Iterator[Flaw]:
        for key in ("switch", "output"):
            given = getattr(self, key) is not None
            if given != (self.by == "switch"):
                found = f"a {key}" if given else "nothing"
                yield Flaw((key,), found, f'{key} beside by = "switch", and only there')


@dataclass(frozen=True, slots=True)
class Shared:
    """How a current is shared: the load's own part (A), and resistors by number, from 1."""

    own: float
    resistors: tuple[int, ...] = ()
    unsure: float = 0.0
    """By how much (A) the resistors' tolerance may put the sum off."""


def conductance(resistors: Sequence[Resistor], numbers: Sequence[int], sign: float = 0.0) -> float:
    """Return the conductance (S) of some resistors; `sign` 1 or −1 for the most or the least."""
    chosen = (resistors[number - 1] for number in numbers)
    return sum((1.0 + sign * one.tolerance) / one.resistance for one in chosen)


def reach(current: float, power: float, voltage: float) -> float:
    """Return the current (A) that a load's ratings allow at a voltage."""
    return min(current, power / voltage)


def share(
    most: float,
    resistors: Sequence[Resistor],
    voltage: float,
    current: float,
    hands: tuple[int, ...] | None = None,
) -> Shared | None:
    """Share a current between the load and the fewest resistors; None if none of them fit.

    `most` is the load's reach. Whatever the resistors have of their tolerance, the load must
    neither exceed its own reach nor be left without current. With `hands`, just these of the
    resistors that a person connects are connected, and those by switch are chosen.
    """
    if current <= most and not hands:
        return Shared(current)
    numbers = range(1, len(resistors) + 1)
    free = numbers if hands is None else [n for n in numbers if resistors[n - 1].by == "switch"]
    fixed = hands or ()
    for count in range(0 if fixed else 1, len(free) + 1):
        for some in combinations(free, count):
            chosen = tuple(sorted((*fixed, *some)))
            least, full = (voltage * conductance(resistors, chosen, s) for s in (-1.0, 1.0))
            if current - least <= OWN_SHARE * most and current - full >= LEAST_OWN_A:
                middle = voltage * conductance(resistors, chosen)
                return Shared(current - middle, chosen, full - middle)
    return None


@dataclass(frozen=True, slots=True)
class Advice:
    """Which resistors would do: how many equal ones, and between which resistances (ohm).

    `power` is what each takes at the lowest of them, `rating` what it should be made for (W).
    """

    count: int
    lowest: float
    highest: float
    power: float
    rating: float

    def __str__(self) -> str:
        many = "a resistor" if self.count == 1 else f"{self.count} resistors, each"
        return (
            f"{many} of {format_quantity(self.lowest, 'ohm', 3)} to "
            f"{format_quantity(self.highest, 'ohm', 3)} within {USUAL_TOLERANCE:.0%}, for at least "
            f"{format_quantity(self.rating, 'W', 2)} (it takes up to "
            f"{format_quantity(self.power, 'W', 2)}; rated {DERATING:g} times that, as "
            "common practice has it)"
        )


def advice(most: float, voltage: float, current: float) -> Advice | None:
    """Return which equal resistors let a load reach a current (A) at a voltage (V).

    Each takes no more than the load's own reach, so that every current below has a setting.
    Formulas: n·V/(R·(1 + t)) at least what the load lacks; V/(R·(1 − t)) at most the load's reach,
    and n of them at most the current less what is left to the load.
    """
    if current <= most:
        return None
    t, own = USUAL_TOLERANCE, OWN_SHARE * most
    lacking = current - own
    for count in range(max(1, ceil(lacking / own)), MOST + 1):
        highest = count * voltage * (1.0 - t) / lacking
        each = min(own, most - LEAST_OWN_A, (current - LEAST_OWN_A) / count)
        if each <= 0.0:
            return None
        lowest = max(voltage * (1.0 + t) / each, HANDY * highest)
        if lowest <= highest:
            power = voltage**2 / (lowest * (1.0 - t))
            return Advice(count, lowest, highest, power, DERATING * power)
    return None
