"""Which fixed resistors let a load hold voltages while a unit is at its current limit.

The load is in constant voltage: it takes what the unit gives less what the resistors take, V/R, so
the sum traces the limit and is measured. All the way down the load must get no more than it can
take, and at the end of the constant-voltage line, at 80 % of the rated current, it must be left
with some current of its own.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from sequencer.documents.quantities import format_quantity
from sequencer.documents.resistors import (
    DERATING,
    LEAST_OWN_A,
    MOST,
    OWN_SHARE,
    USUAL_TOLERANCE,
    Resistor,
    conductance,
    reach,
)
from sequencer.documents.unit import UnitDocument

LEAST_SHARE = 0.8
"""The constant-voltage line ends at 80 % of the rated current; resistors take less than that."""

STEPS = 60
"""Voltages that are looked at between the lowest and the highest."""


@dataclass(frozen=True, slots=True)
class Sweep:
    """A sweep from a voltage (V) down to the lowest, of a unit with a rated current (A).

    `most` is the greatest current at full voltage, `most_anywhere` at any, by the unit document.
    """

    voltage: float
    lowest: float
    rated: float
    most: float
    most_anywhere: float

    @property
    def points(self) -> Iterator[tuple[float, float]]:
        """Voltages on the way down, each with the greatest current that the unit may give there."""
        for n in range(STEPS + 1):
            way = n / STEPS
            volts = self.voltage + (self.lowest - self.voltage) * way
            yield volts, self.most + (self.most_anywhere - self.most) * way


def sweep_of(unit: UnitDocument, voltage: float, lowest: float) -> Sweep:
    """Return a sweep (V) of a unit."""
    return Sweep(
        voltage,
        lowest,
        unit.ratings.current,
        greatest_current(unit, anywhere=False),
        greatest_current(unit, anywhere=True),
    )


AT_FULL_VOLTAGE = ("limit_current", "knee_current", "knee_onset")
"""Figures of current that the unit may give at nearly its full voltage."""


def greatest_current(unit: UnitDocument, *, anywhere: bool) -> float:
    """Return the greatest current that a unit may give, in A: rated, or allowed by a limit."""
    rated = unit.ratings.current
    bounds = [
        limit.bound.resolve(rated)[1]
        for limit in unit.limits
        if limit.unit == "A" and (anywhere or limit.figure in AT_FULL_VOLTAGE)
    ]
    return max([rated, *(bound for bound in bounds if bound is not None)])


def fits(sweep: Sweep, current: float, power: float, least: float, most: float) -> bool:
    """Return whether a load of these ratings (A, W) can be helped by a conductance (S).

    `least` and `most` are the ends of the conductance's tolerance.
    """
    if sweep.voltage * most + LEAST_OWN_A > LEAST_SHARE * sweep.rated and most > 0.0:
        return False
    share = OWN_SHARE if most > 0.0 else 1.0
    return all(a - v * least <= share * reach(current, power, v) for v, a in sweep.points)


def for_sweep(
    resistors: Sequence[Resistor], current: float, power: float, sweep: Sweep
) -> tuple[int, ...] | None:
    """Return the numbers of the fewest resistors that a sweep needs; None if none of them do."""
    numbers = range(1, len(resistors) + 1)
    for count in range(len(resistors) + 1):
        for chosen in combinations(numbers, count):
            least, most = (conductance(resistors, chosen, sign) for sign in (-1.0, 1.0))
            if fits(sweep, current, power, least, most):
                return chosen
    return None


def advice_for(current: float, power: float, sweep: Sweep) -> str:
    """Return which equal resistors would do, in words; empty where none do.

    Searched: the conductance in steps of a thousandth of what 80 % of the rated current makes.
    """
    t = USUAL_TOLERANCE
    most = LEAST_SHARE * sweep.rated / sweep.voltage
    found = [
        g
        for g in (most * n / 1000 for n in range(1, 1001))
        if fits(sweep, current, power, g * (1.0 - t), g * (1.0 + t))
    ]
    if not found:
        return ""
    own = OWN_SHARE * reach(current, power, sweep.voltage) - LEAST_OWN_A
    for count in range(1, MOST + 1):
        # Each takes less than the load can, so that some level is reached with it and without.
        fine = [g for g in found if sweep.voltage * g * (1.0 + t) <= count * own]
        if fine:
            lowest, highest = count / fine[-1], count / fine[0]
            takes = sweep.voltage**2 / (lowest * (1.0 - t))
            many = "a resistor" if count == 1 else f"{count} resistors, each"
            return (
                f"{many} of {format_quantity(lowest, 'ohm', 3)} to "
                f"{format_quantity(highest, 'ohm', 3)} within {t:.0%}, for at least "
                f"{format_quantity(DERATING * takes, 'W', 2)} (it takes up to "
                f"{format_quantity(takes, 'W', 2)}; rated {DERATING:g} times that, as common "
                "practice has it)"
            )
    return ""
