"""The ammeters of one current as read together: their means, how far apart, and the line."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.line import StraightLine, fit_line
from sequencer.numerics.line_known import line_with_covariance
from sequencer.requests import Array
from sequencer.results import Component
from sequencer.trials.trial import Context, Evidence, Point, refuse_frozen
from sequencer.uncertainty.accuracy import is_dithered, mean_of, reading_components
from sequencer.uncertainty.agreement import agreement_number
from sequencer.uncertainty.combine import combine, scaled

LEAST_VISITS = 4
"""A straight line through fewer visits says nothing about its own scatter."""


def channels_of(context: Context) -> tuple[str, ...]:
    """Return all ammeters of the output current that state an accuracy, the reference first."""
    return tuple(
        channel
        for channel in context.currents
        if channel == context.current or context.bench.channels[channel].has_accuracy
    )


Steps = Callable[[str, int], list[Component]]
"""Of a channel at a level."""


@dataclass(frozen=True, slots=True)
class Compared:
    """The means of each ammeter in A: of every visit, and of all visits to one level.

    `level_of` is the level of each visit, `counts` how many readings each level's mean has, `lag_s`
    how long the trial took.
    """

    context: Context
    visits: dict[str, Array]
    levels: dict[str, Array]
    level_of: np.ndarray[tuple[int], np.dtype[np.int64]]
    counts: tuple[int, ...]
    lag_s: float

    def parts(self, channel: str, level: int) -> list[Component]:
        """Return what one ammeter's mean at one level is uncertain by, in A."""
        value = float(self.levels[channel][level])
        return mean_of(self.context.accuracy(channel), value, self.counts[level])

    def expanded(self, channel: str) -> list[float]:
        """Return U of one ammeter at each level, in A."""
        return [combine(self.parts(channel, n)).expanded for n in range(len(self.counts))]

    def apart(self) -> dict[tuple[str, str], Array]:
        """Return E_n of each pair of ammeters at each level."""
        expanded = {channel: self.expanded(channel) for channel in self.levels}
        return {
            (a, b): np.array(
                [
                    agreement_number(float(x), u, float(y), v)
                    for x, u, y, v in zip(
                        self.levels[a], expanded[a], self.levels[b], expanded[b], strict=True
                    )
                ]
            )
            for a, b in combinations(self.levels, 2)
        }

    @property
    def dof(self) -> float:
        """Degrees of freedom of the scatter between visits to one level."""
        return float(max(self.level_of.size - len(self.counts), 1))

    def visit_sd(self, first: str, second: str) -> float:
        """Return how one visit's difference of two ammeters scatters about its level's mean, A.

        What the current itself does is common to both and goes.
        """
        apart = self.visits[first] - self.visits[second]
        levels = self.levels[first] - self.levels[second]
        return math.sqrt(float(np.sum((apart - levels[self.level_of]) ** 2)) / self.dof)

    def scatter(self, first: str, second: str) -> Array:
        """Return the standard uncertainty of the difference of two ammeters at each level, A."""
        return self.visit_sd(first, second) / np.sqrt(np.bincount(self.level_of))

    def steps(self, channel: str, level: int, sensitivity: float = 1.0) -> list[Component]:
        """Return what a display's steps make of a mean at one level."""
        accuracy = replace(self.context.accuracy(channel), noise=0.0)
        dithered = is_dithered(self.context.accuracy(channel))
        parts = reading_components(accuracy, 1, sensitivity=sensitivity)
        return scaled(parts, 1.0 / math.sqrt(self.counts[level]) if dithered else 1.0)

    def unseen_steps(self, channel: str, level: int, sensitivity: float = 1.0) -> list[Component]:
        """Return the same as far as the scatter between visits does not hold it.

        Where noise dithers the steps they differ from reading to reading, and are in it.
        """
        if is_dithered(self.context.accuracy(channel)):
            return []
        return self.steps(channel, level, sensitivity)

    def rounding(self, first: str, second: str, steps: Steps | None = None) -> Array:
        """Return the standard uncertainty by both displays' steps at each level, A.

        `steps` gives those of one; all of them where None.
        """
        own = steps or self.steps
        return np.array(
            [
                math.sqrt(math.fsum(p.contribution**2 for c in (first, second) for p in own(c, n)))
                for n in range(len(self.counts))
            ]
        )

    def at_its_stop(self, channel: str) -> bool:
        """Tell whether an ammeter shows exactly nothing without load, as at a stop."""
        none = self.visits[channel][self.level_of == 0]
        return bool(np.all(none == 0.0)) and len(self.counts) > LEAST_LEFT

    def straight(self, first: str, second: str) -> Array:
        """Return `first` − `second` at each level as the straight line of their gains has it, A.

        What was read where one of them stands at its stop.
        """
        apart = self.levels[first] - self.levels[second]
        begin = 1 if self.at_its_stop(first) or self.at_its_stop(second) else 0
        current, along = self.levels[first][begin:], apart[begin:]
        line = fit_line(current, along, 1.0)
        return np.concatenate([apart[:begin], along - line.residuals(current, along)])

    def line(self, channel: str, reference: str) -> tuple[StraightLine, StraightLine, bool]:
        """Return the line of channel − reference against the reference, with two uncertainties.

        Once with the scatter between visits, once with the steps of both displays: these round all
        visits to one level alike where noise does not dither them. Last, whether visits without
        load were left out, as the ammeter shows nothing there.
        """
        left_out = self.at_its_stop(channel)
        used = self.level_of > 0 if left_out else np.ones_like(self.level_of, dtype=bool)
        x, y = (
            self.visits[reference][used],
            self.visits[channel][used] - self.visits[reference][used],
        )
        level = self.level_of[used]
        free = self.visit_sd(channel, reference) ** 2 * np.eye(x.size)
        rounding = self.rounding(channel, reference) ** 2
        alike = (level[:, None] == level[None, :]) * rounding[level][:, None]
        return (
            line_with_covariance(x, y, free, self.dof),
            line_with_covariance(x, y, alike),
            left_out,
        )


LEAST_LEFT = 3
"""A line needs as many levels beside no load."""


def compared(evidence: Evidence) -> Compared | None:
    """Return the ammeters' means; None where fewer than two were read.

    Raises
    ------
    FigureError
        For too few visits, a meter that stands still, or a reading that is no number.
    """
    points = evidence.points(part="round")
    there = [c for c in channels_of(evidence.context) if points and _read(points, c)]
    if len(there) < 2:
        return None
    if len(points) < LEAST_VISITS:
        raise FigureError(
            f"The ammeters were read together at {len(points)} steps, expected at least "
            f"{LEAST_VISITS}: the run ended early."
        )
    for channel in there:
        refuse_frozen(points, channel)
    fractions = sorted({float(point.tag["fraction"]) for point in points})
    stays = [[point for point in points if point.tag["fraction"] == one] for one in fractions]
    visits = {channel: np.array([point.mean(channel) for point in points]) for channel in there}
    return Compared(
        context=evidence.context,
        visits=visits,
        levels={
            channel: np.array([np.mean([p.mean(channel) for p in stay]) for stay in stays])
            for channel in there
        },
        level_of=np.searchsorted(fractions, [float(p.tag["fraction"]) for p in points]),
        counts=tuple(sum(point.values(there[0]).size for point in stay) for stay in stays),
        lag_s=points[-1].time(there[0]) - points[0].time(there[0]),
    )


def _read(points: Sequence[Point], channel: str) -> bool:
    return all(channel in point.readings.value for point in points)
