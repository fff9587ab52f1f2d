"""What would make an uncertainty smaller: which components each measure acts on, and how much.

Every measure is an assumption about what it does to a component (half, a tenth), named beside its
result; U is then computed again from the whole budget, with the distribution that this makes.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from sequencer.results import Component
from sequencer.uncertainty.combine import COVERAGE_PROBABILITY
from sequencer.uncertainty.distribution import distribution_of

#: Changes of U below this share are no improvement that anybody would notice.
_LEAST_GAIN = 0.005
#: Steps of the search for how far a component has to shrink; beyond a thousandth nobody cares.
_HALVINGS = 12
_MOST_READINGS = 1000.0


@dataclass(frozen=True, slots=True)
class Measure:
    """Something that can be done: its words, the components it acts on, and their new size.

    `words` are tried in the component's name without its channel; `factor` is what is left of the
    component, `readings` how many times as many readings that takes.
    """

    advice: str
    words: tuple[str, ...]
    factor: float
    readings: float = 1.0

    def acts_on(self, part: Component) -> bool:
        """Return whether the measure makes a component smaller."""
        return measure_for(part) is self


REPEAT = Measure(
    "take 4 times as many readings or repeats, or integrate 4 times as long", ("noise",), 0.5, 4.0
)
UNIT = Measure(
    "warm the unit up longer, so that it wanders half as much; more readings don't help",
    ("own wander", "wandered", "pace of", "went on"),
    0.5,
)
MEASURES = (
    REPEAT,
    UNIT,
    Measure("use a meter with one digit more, or a lower range", ("resolution", "digits"), 0.1),
    Measure("have the shunt calibrated to a tenth of its tolerance", ("shunt value",), 0.1),
    Measure("use a shunt that follows temperature half as much", ("shunt",), 0.5),
    Measure("keep the room twice as steady", ("following the room",), 0.5),
    Measure("work twice as near to the calibration temperature", ("at temperature",), 0.5),
    Measure("have the meter calibrated again", ("since calibration",), 0.1),
    Measure(
        "use a meter that is twice as stable over this time", ("stability", "meter's wander"), 0.5
    ),
    Measure("read twice as often from load on", ("first minute", "first reading"), 0.5),
    Measure(
        "measure the voltage before the pass element, and work the figure out from that by hand",
        ("before the pass element",),
        0.1,
    ),
    Measure("let the connections reach one temperature: half the thermal EMF", ("emf",), 0.5),
    Measure(
        "warm up longer or sweep slower: half the difference between both ways",
        ("both ways", "sinking", "drift"),
        0.5,
    ),
    Measure(
        "use a meter of 4 times better accuracy, or have it calibrated",
        ("gain", "offset", "linearity", "calibration"),
        0.25,
    ),
)
_OTHER = Measure("halve what is left of the procedure's own parts", (), 0.5)


def measure_for(part: Component) -> Measure:
    """Return what helps against a component; scatter helps itself by repetition."""
    name = without_channel(part.name).lower()
    if any(word in name for word in UNIT.words):
        return UNIT
    if math.isfinite(part.dof):
        return REPEAT
    for measure in MEASURES:
        if any(word in name for word in measure.words):
            return measure
    return _OTHER


def without_channel(name: str) -> str:
    """Return a component's name without the channel in brackets."""
    return name.partition(" (")[0]


@dataclass(frozen=True, slots=True)
class Improvement:
    """A measure with the components it acts on, and U (figure's unit) once it is taken."""

    measure: Measure
    components: tuple[str, ...]
    expanded: float
    gain: float


def improvements(budget: Sequence[Component]) -> tuple[Improvement, ...]:
    """Return what each measure would bring, the best first; `gain` is the share of U that goes."""
    now = expanded_of(budget)
    found = []
    for measure in (*MEASURES, _OTHER):
        acted = tuple(part.name for part in budget if measure.acts_on(part))
        if not acted:
            continue
        then = expanded_of(shrunk(budget, measure.acts_on, measure.factor, measure.readings))
        if then < now * (1 - _LEAST_GAIN):
            found.append(Improvement(measure, acted, then, 1 - then / now))
    return tuple(sorted(found, key=lambda one: one.expanded))


def expanded_of(budget: Sequence[Component]) -> float:
    """Return U of a budget, 0 where nothing is left in it."""
    return distribution_of(budget).half_interval(COVERAGE_PROBABILITY)


def shrunk(
    budget: Sequence[Component],
    which: Callable[[Component], bool],
    factor: float,
    readings: float = 1.0,
) -> list[Component]:
    """Return the budget with some components times `factor`.

    `readings` times as many readings have as many times (dof + 1) − 1 degrees of freedom.
    """
    return [
        replace(
            part,
            u=part.u * factor,
            contribution=part.contribution * factor,
            dof=(part.dof + 1) * readings - 1,
        )
        if which(part)
        else part
        for part in budget
    ]


def needed_factor(
    budget: Sequence[Component], which: Callable[[Component], bool], target: float
) -> float | None:
    """Return to what share some components must shrink for U ≤ `target`; None if that can't do."""
    if expanded_of(shrunk(budget, which, 0.0)) > target:
        return None
    low, high = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        enough = expanded_of(shrunk(budget, which, middle)) <= target
        low, high = (middle, high) if enough else (low, middle)
    return low


def needed_readings(budget: Sequence[Component], target: float) -> float | None:
    """Return how many times as many readings give U ≤ `target`; None if a thousand don't."""

    def enough(times: float) -> bool:
        return expanded_of(shrunk(budget, REPEAT.acts_on, times**-0.5, times)) <= target

    if not enough(_MOST_READINGS):
        return None
    low, high = 0.0, math.log(_MOST_READINGS)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if enough(math.exp(middle)) else (middle, high)
    return math.exp(high)
