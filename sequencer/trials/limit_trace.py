"""What the points of a limit sweep say: the curve of both ways, free from what time alone moved."""

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.knee import LimitTrace, hysteresis, trace_limit
from sequencer.numerics.limit_figures import Quantity
from sequencer.numerics.pace import SURELY, Pace, pace
from sequencer.requests import Array
from sequencer.results import Component
from sequencer.trials.trial import VOLTAGE, Evidence, Point, refuse_frozen
from sequencer.uncertainty.combine import type_a


@dataclass(frozen=True, slots=True)
class Sweep:
    """What a sweep was asked for: voltages in volts, the onset's departure as well."""

    voltage: float
    lowest_voltage: float
    departure: float
    readings: int


REFERENCE_REGION = "reference"
"""Of the returns to half the rated current, which are no points of the curve."""


@dataclass(frozen=True, slots=True)
class Traced:
    """The points of both legs, what the curve says in all, and what each leg says alone.

    `down` and `up` are as measured; the traces are free from what time alone moved, where that is
    known, and `bent` is the trace with the pace's change off by its standard uncertainty. `lag_s`
    is the time from the corner to the lowest voltage: so far apart are the readings that a ratio or
    a difference compares.
    """

    down: tuple[Array, Array]
    up: tuple[Array, Array]
    trace: LimitTrace
    bent: LimitTrace | None
    moved: Pace | None
    legs: tuple[LimitTrace, ...]
    hysteresis: Quantity | None
    readings: int
    lag_s: float

    def between_legs(self, name: str) -> float:
        """Return half of what a figure differs by between both ways: drift, heat, hysteresis.

        Nothing where the scatter of either way explains it, which stands in the budget by itself:
        of chance alone the square less its expectation, cut off at zero, would still leave half of
        that on average.
        """
        found = [quantity for leg in self.legs if (quantity := getattr(leg, name)) is not None]
        if len(found) < BOTH:
            return 0.0
        first, second = found
        apart, chance = abs(second.value - first.value), hypot(first.u, second.u)
        return sqrt(apart**2 - chance**2) / 2 if apart > SURELY * chance else 0.0

    def pace_part(self, name: str) -> Component:
        """Return what a figure's uncertainty owes to that of the pace of the limit's drift."""
        u, dof = 0.0, 1.0
        if self.moved is not None:
            found, off = getattr(self.trace, name), getattr(self.bent, name)
            u = 0.0 if found is None or off is None else abs(off.value - found.value)
            dof = self.moved.bend.dof
        return type_a("pace of the limit's drift", u, dof)


def traced(sweep: Sweep, evidence: Evidence) -> Traced:
    """Return the curve of a sweep from the points of both legs.

    Raises
    ------
    FigureError
        When too few points were measured.
    """
    if not evidence.points(leg="down"):
        raise FigureError("The run ended before the limit sweep had traced anything.")
    down, up = _leg(evidence, "down"), _leg(evidence, "up")
    ammeter = evidence.context.accuracy(evidence.context.current)
    try:
        between: Quantity | None = hysteresis(
            *down,
            *up,
            set_voltage=sweep.voltage,
            down_times=_times(evidence, "down"),
            back_times=_times(evidence, "up"),
            least_scatter=ROUNDED * ammeter.resolution * ammeter.per_volt,
        )
    except FigureError:
        between = None  # an interrupted way back: said in the figures' notes
    moved = None if between is None else _pace(sweep, evidence)
    steady = [_without(evidence, leg, moved) for leg in (("down", down), ("up", up))]
    bent = None
    if moved is not None:
        off = [_without(evidence, leg, moved, moved.bend.u) for leg in (("down", down), ("up", up))]
        bent = _trace(sweep, evidence, _both_ways(evidence, *off))
    return Traced(
        down,
        up,
        _trace(sweep, evidence, _both_ways(evidence, *steady)),
        bent,
        moved,
        () if between is None else tuple(_trace(sweep, evidence, leg) for leg in steady),
        between,
        sweep.readings,
        max(_lag_s(evidence, leg) for leg in ("down", "up")),
    )


def _pace(sweep: Sweep, evidence: Evidence) -> Pace | None:
    """Return how time alone moved the limit, by the levels deep in it that were visited thrice."""
    channel = evidence.context.current
    deep = sweep.voltage - DEEP * sweep.departure
    visits = [
        {
            point.tag["level"]: point
            for point in evidence.points(leg=leg)
            if point.tag["region"] in LIMITED and point.mean(VOLTAGE) < deep
        }
        for leg in ("search", "down", "up")
    ]
    levels = [level for level in visits[0] if level in visits[1] and level in visits[2]]
    rows = [
        (
            np.array([visit[level].mean(channel) for level in levels]),
            np.array([visit[level].time(channel) for level in levels]),
        )
        for visit in visits
    ]
    try:
        return pace(*rows)
    except FigureError:
        return None  # then what both ways differ by stands in the budget


DEEP = 10.0
"""So many of the onset's departures below the setting, a drift of the output moves no current."""

LIMITED = ("corner", "current line", "lowest")
"""Regions whose currents the unit's limit makes; in the others the load does."""


def _without(
    evidence: Evidence,
    named: tuple[str, tuple[Array, Array]],
    moved: Pace | None,
    bend_off_by: float = 0.0,
) -> tuple[Array, Array]:
    """Return a named leg without what time alone moved the limit by."""
    leg, (current, voltage) = named
    if moved is None:
        return current, voltage
    limited = np.array([point.tag["region"] in LIMITED for point in _stops(evidence, leg)])
    since = moved.moved(_times(evidence, leg), bend_off_by=bend_off_by)
    return current - np.where(limited, since, 0.0), voltage


ROUNDED = 1.0 / sqrt(6.0)
"""Standard deviation of the difference of two rounded readings, in steps: twice 1/12 in squares."""


def _both_ways(
    evidence: Evidence, down: tuple[Array, Array], up: tuple[Array, Array]
) -> tuple[Array, Array]:
    """Return the means of both visits to each level, else, on the way down only, its points.

    The middle between both visits is the same moment for every level, so that what drifts steadily
    is in none of the curve's figures, and neither is it in their scatter.
    """
    back = {_place(point): index for index, point in enumerate(_stops(evidence, "up"))}
    there = [_place(point) for point in _stops(evidence, "down")]
    pairs = [(n, back[place]) for n, place in enumerate(there) if place in back]
    if len(pairs) < len(there):
        return np.concatenate([down[0], up[0]]), np.concatenate([down[1], up[1]])
    first, second = (np.array(column) for column in zip(*pairs, strict=True))
    return (down[0][first] + up[0][second]) / 2, (down[1][first] + up[1][second]) / 2


def _place(point: Point) -> tuple[object, object]:
    return point.tag["region"], point.tag["level"]


def _stops(evidence: Evidence, leg: str) -> list[Point]:
    """Return the points of a leg that belong to the curve."""
    return [p for p in evidence.points(leg=leg) if p.tag["region"] != REFERENCE_REGION]


def _lag_s(evidence: Evidence, leg: str) -> float:
    channel = evidence.context.current
    times = [
        point.time(channel)
        for point in _stops(evidence, leg)
        if point.tag["region"] != "voltage line"
    ]
    return max(times) - min(times) if times else 0.0


def _times(evidence: Evidence, leg: str) -> Array:
    channel = evidence.context.current
    return np.array([point.time(channel) for point in _stops(evidence, leg)])


def _trace(sweep: Sweep, evidence: Evidence, points: tuple[Array, Array]) -> LimitTrace:
    return trace_limit(
        *points,
        set_voltage=sweep.voltage,
        rated_current=evidence.context.unit.ratings.current,
        departure=sweep.departure,
        load_voltage=sweep.lowest_voltage,
    )


def _leg(evidence: Evidence, leg: str) -> tuple[Array, Array]:
    """Return currents and voltages of a leg, the voltages without the drift of the reference."""
    refuse_frozen(evidence.points(leg=leg), VOLTAGE)
    points = _stops(evidence, leg)
    current = evidence.context.current
    refuse_frozen(points, current)
    return (
        np.array([point.mean(current) for point in points]),
        np.array([point.mean(VOLTAGE) for point in points]) - _drifted(evidence, leg, points),
    )


def _drifted(evidence: Evidence, leg: str, points: list[Point]) -> Array:
    """Return how far the reference stood from its mean at each point; 0 where it wasn't visited."""
    visits = evidence.points(leg=leg, region=REFERENCE_REGION)
    if len(visits) < BOTH:
        return np.zeros(len(points))
    times = np.array([point.time(VOLTAGE) for point in points])
    when = np.array([visit.time(VOLTAGE) for visit in visits])
    volts = np.array([visit.mean(VOLTAGE) for visit in visits])
    between = (times > when.min()) & (times < when.max())
    order = np.argsort(when)
    return np.where(between, np.interp(times, when[order], volts[order]) - volts.mean(), 0.0)


BOTH = 2
"""Ways of a sweep: down and back."""
