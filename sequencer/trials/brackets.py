"""Levels visited between visits to no load: the mean differences that come of it, their budget."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.chained import chained
from sequencer.numerics.line import StraightLine
from sequencer.numerics.line_known import line_with_covariance, u_of_residuals
from sequencer.numerics.pairs import LevelDifferences, bracketed_differences
from sequencer.requests import Array
from sequencer.results import Component
from sequencer.trials.parts import of
from sequencer.trials.trial import VOLTAGE, Context, Point, refuse_frozen
from sequencer.uncertainty.accuracy import difference, is_dithered, wander_components
from sequencer.uncertainty.combine import rectangular, scaled

SCATTER_BARS = (
    "Bars: two standard uncertainties from scatter between rounds only; what the meters may be "
    "wrong by isn't in them."
)
"""What a chart says of the bars of its levels."""


@dataclass(frozen=True, slots=True)
class LevelMeans:
    """Mean differences from no load; arrays of shape (levels,) beginning with no load itself.

    `lag_s` is the mean time between a level and a visit to no load beside it; `open_voltage` the
    mean voltage at the sense points without load. `links`: the greatest levels were compared with
    no load over so many others (`sequencer.trials.by_hand`).
    """

    voltage: LevelDifferences
    current: LevelDifferences
    lag_s: float
    readings: int
    open_voltage: float
    links: int = 0

    @property
    def dv(self) -> Array:
        """The change of the voltage channel from no load, in volts."""
        return self.voltage.differences

    @property
    def di(self) -> Array:
        """The change of the current channel from no load, in amperes."""
        return self.current.differences

    @property
    def line(self) -> StraightLine:
        """The least-squares line of `dv` against `di`, its uncertainty from the scatter of `dv`."""
        covariance = self.voltage.covariance
        return line_with_covariance(self.di, self.dv, covariance, self.voltage.dof)

    @property
    def departures(self) -> tuple[Array, Array]:
        """The departures of `dv` from that line, and their standard uncertainties, in volts."""
        line = self.line
        off = self.dv - line.intercept - line.slope * self.di
        return off, u_of_residuals(self.di, self.voltage.covariance)

    def up_to(self, level: float) -> "LevelMeans":
        """Return the same of the levels (fractions of full current) up to one."""
        count = int(np.searchsorted(self.voltage.levels, level, side="right"))
        return replace(self, voltage=self.voltage.first(count), current=self.current.first(count))

    @property
    def u_dv(self) -> Array:
        """The standard uncertainty of `dv` from the scatter between rounds, in volts."""
        return self.voltage.u


def level_means(points: Sequence[Point], voltage: str, current: str) -> LevelMeans:
    """Return the mean differences from no load of a voltage and a current channel.

    Points after the last visit to no load are left out (an interrupted round). Levels that were
    compared with another level in place of no load get that one's difference added.

    Raises
    ------
    FigureError
        When no level was visited twice between visits to no load.
    """
    used: list[tuple[float, Sequence[Point]]] = []
    for base, group in _by_group(points):
        if base != 0.0 and base not in {p.tag["fraction"] for _, part in used for p in part}:
            break  # the link itself was not held: nothing above it can be told
        used.append((base, _bracketed(group, base)))
    every = [point for _, group in used for point in group]
    if not used or len(used[0][1]) < LEAST_BRACKETED:
        raise FigureError(
            f"Only {len(points)} points were measured; at least one level between two visits to "
            "no load, twice, is needed."
        )
    for _, group in used:
        refuse_frozen(group, voltage)
    lags = [np.diff([point.time(voltage) for point in group]) for _, group in used]
    return LevelMeans(
        voltage=_differences(used, voltage),
        current=_differences(used, current),
        lag_s=float(np.mean(np.concatenate(lags))),
        readings=min(point.values(voltage).size for point in every),
        open_voltage=float(np.mean([p.mean(VOLTAGE) for p in every if p.tag["fraction"] == 0.0])),
        links=len(used) - 1,
    )


LEAST_BRACKETED = 3

Grouped = Sequence[tuple[float, Sequence[Point]]]
"""Per group of levels its base (a fraction of full current) and its points in the order read."""


def _by_group(points: Sequence[Point]) -> Grouped:
    """Return the points by group, the one that is compared with no load first."""
    numbers = sorted({float(point.tag.get("group", 0.0)) for point in points}) or [0.0]
    found = []
    for number in numbers:
        inside = [point for point in points if float(point.tag.get("group", 0.0)) == number]
        base = float(inside[0].tag.get("base", 0.0)) if inside else 0.0
        found.append((base, inside))
    return found


def _bracketed(points: Sequence[Point], base: float) -> Sequence[Point]:
    """Leave out what comes after the last visit to the base."""
    last = max((n for n, p in enumerate(points) if p.tag["fraction"] == base), default=-1)
    return points[: last + 1]


def _differences(groups: Grouped, channel: str) -> LevelDifferences:
    found = [_inside(group, channel, base) for base, group in groups]
    return found[0] if len(found) == 1 else chained(found)


def _inside(points: Sequence[Point], channel: str, base: float) -> LevelDifferences:
    times = np.array([point.time(channel) for point in points])
    values = np.array([point.mean(channel) for point in points])
    levels = np.array([float(point.tag["fraction"]) for point in points])
    return bracketed_differences(times, levels, values, base, noise=_noise(points, channel))


def _noise(points: Sequence[Point], channel: str) -> float | None:
    """Return the standard uncertainty of a visit's mean by the scatter of its readings, pooled.

    None where visits have one reading each.
    """
    visits = [point.values(channel) for point in points]
    if min(visit.size for visit in visits) < LEAST_TO_SCATTER:
        return None
    return float(np.sqrt(np.mean([np.var(visit, ddof=1) / visit.size for visit in visits])))


LEAST_TO_SCATTER = 2


def reached_by(means: LevelMeans) -> dict[str, float]:
    """Return the condition that was measured, by the keys of a limit's condition."""
    return {
        "voltage": means.open_voltage,
        "current_from": 0.0,
        "current_to": float(means.di.max()),
    }


HELD_SHARE = 0.95
"""An output that falls below 95 % of its setting no longer holds its voltage: it is limiting."""

SHORT_SHARE = 0.97
"""A current of less than 97 % of what was set was not delivered; loads set it better than that."""

LEAST_SHORT_A = 0.02
"""Ammeters and loads are off by up to some 20 mA at no load (common practice, no source)."""


def not_held(points: Sequence[Point], context: Context, voltage: float, current: float) -> str:
    """Say in words which levels the unit did not deliver; empty if it delivered all.

    `voltage` and `current` are the settings at full load, in V and A.
    """
    lost = lost_fractions(points, context, voltage, current)
    if not lost:
        return ""
    least = min(lost)
    at = min(
        (point for point in points if point.tag["fraction"] == least),
        key=lambda point: point.mean(VOLTAGE),
    )
    return (
        f"At {least * current:.4g} A the output fell to {at.mean(VOLTAGE):.3g} V: the unit does "
        "not deliver this current."
    )


def lost_fractions(
    points: Sequence[Point], context: Context, voltage: float, current: float
) -> set[float]:
    """Return the fractions at which the output gave way or the current was not reached."""
    return {
        float(point.tag["fraction"])
        for point in points
        if point.mean(VOLTAGE) < HELD_SHARE * voltage
        or point.mean(context.current)
        < SHORT_SHARE * float(point.tag["fraction"]) * current - LEAST_SHORT_A
    }


def held_points(
    points: Sequence[Point], context: Context, voltage: float, current: float
) -> tuple[Point, ...]:
    """Return the points at which the unit held its voltage and delivered the current."""
    lost = lost_fractions(points, context, voltage, current)
    return tuple(point for point in points if point.tag["fraction"] not in lost)


MOST_SCALED = 0.01
"""A load sets its current within a per cent; what is further away was not measured."""


def end_slope(means: LevelMeans) -> float:
    """Return the slope of `dv` against `di` at the greatest current, in ohms.

    The derivative of the parabola through the last three levels, or their chord where that is
    steeper: a limit that begins to bite bends the curve down.
    """
    x, y = means.di[-3:], means.dv[-3:]
    chord = float((y[-1] - y[-2]) / (x[-1] - x[-2]))
    if x.size < LEAST_FOR_PARABOLA:
        return chord
    bend, straight, _ = np.polyfit(x, y, 2)
    parabola = float(2.0 * bend * x[-1] + straight)
    return max(chord, parabola, key=abs)


LEAST_FOR_PARABOLA = 3


def step_to(means: LevelMeans, current: float) -> float:
    """Return what to add to the last `dv` (V) to state it at `current`, 0 if that is far away."""
    missing = current - float(means.di[-1])
    return end_slope(means) * missing if abs(missing) <= MOST_SCALED * current else 0.0


def step_doubt(means: LevelMeans, current: float) -> float:
    """Return how far `step_to` may be wrong (V) along a conductor, whose drop runs straight.

    What the slope of the parabola and the slope of the chord, on which bend and scatter act
    differently, make of the missing current.
    """
    x, y = means.di[-2:], means.dv[-2:]
    chord = float((y[-1] - y[-2]) / (x[-1] - x[-2]))
    whole = float((means.dv[-1] - means.dv[0]) / (means.di[-1] - means.di[0]))
    missing = current - float(means.di[-1])
    away = max(abs(end_slope(means) - chord), abs(end_slope(means) - whole))
    return away * abs(missing) if abs(missing) <= MOST_SCALED * current else 0.0


def current_components(
    context: Context, means: LevelMeans, step: float, *, doubt: float | None = None
) -> list[Component]:
    """Return what the ammeter, and a step to another current, add to a change of voltage (V).

    The current is a difference from no load on one meter: its offset cancels. `doubt` is how far
    the step may be wrong, in V; all of it where None, as a limit that begins to bite is steeper
    than any levels below it tell.
    """
    ammeter = difference(
        context.accuracy(context.current),
        0.0,
        float(means.di[-1]),
        lag_s=means.lag_s,
        readings=means.readings,
    )
    linked = link_components(context, context.current, float(means.di[-1]), means)
    return [
        *scaled([*ammeter, *linked], end_slope(means)),
        of(
            rectangular("step to the stated current", abs(step) if doubt is None else doubt),
            context.current,
            "V",
        ),
    ]


def mean_difference(
    context: Context,
    channel: str,
    base: float,
    change: float,
    means: LevelMeans,
    scatter: Component,
) -> list[Component]:
    """Return the budget of one mean difference of a channel, from its scatter and its meter.

    `base` is the reading at no load and `change` the difference, in the channel's unit; `scatter`
    is the type A component in the same unit.
    """
    return [
        *difference(
            context.accuracy(channel),
            base,
            base + change,
            lag_s=means.lag_s,
            readings=means.readings,
            scatter=scatter,
        ),
        *link_components(context, channel, base, means),
    ]


def link_components(
    context: Context, channel: str, level: float, means: LevelMeans, per_unit: float = 1.0
) -> list[Component]:
    """Return what each link adds to the difference that it carries on: one more comparison.

    `level` is the value read there; `per_unit` as in `slope_components`.
    """
    return _comparison(context, channel, level, means, per_unit) * means.links


def slope_components(
    context: Context, channel: str, base: float, means: LevelMeans, *, per_unit: float
) -> list[Component]:
    """Return what a channel's meter adds to a slope, or a difference, over the trial's whole span.

    `base` is the greatest reading, in the channel's unit; `per_unit` is the figure's change per
    unit of the channel at full current. Scatter is not among them: it is in the fit. So is rounding
    where noise dithers it; where it doesn't, every repeat is rounded alike, and the slope between
    the ends is off by what rounding does to both.
    """
    return _comparison(context, channel, base, means, per_unit) * (1 + means.links)


def _comparison(
    context: Context, channel: str, level: float, means: LevelMeans, per_unit: float
) -> list[Component]:
    """Return what a meter that reads `level` adds to one comparison of two visits."""
    return [
        *wander_components(
            context.accuracy(channel), level, lag_s=means.lag_s, sensitivity=per_unit
        ),
        *_rounding(context, channel, per_unit),
    ]


def _rounding(context: Context, channel: str, per_unit: float) -> list[Component]:
    """Return what a display's steps add to a difference: each of its two readings is rounded.

    Nothing where noise dithers them, as rounding is in the scatter then; `per_unit` as in
    `slope_components`.
    """
    accuracy = context.accuracy(channel)
    half = 0.0 if is_dithered(accuracy) else accuracy.resolution / 2
    names = ("resolution", "resolution at no load") if half > 0.0 else ()
    return [rectangular(name, half, per_unit * accuracy.per_volt) for name in names]
