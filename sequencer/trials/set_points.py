"""Set points: whether the output is where its controls say, from one end of the range to the other.

A unit with remote control is set to each position and read. A hand that turns a knob until the
meter shows the wanted voltage has no setting error of its own: there the trial is refused.

setting_error (V)
    How far the output is from its setting at worst. Formula: greatest |V − setting| over the
    positions, V the mean of both visits. A limit in per cent, or for one setting, is held against
    |V − setting| at each position, or at that one.
setting_gain_error (1), setting_offset (V)
    Slope less 1, and intercept, of the line of V against the setting. Formula: gain error and
    offset of V = (1 + gain error)·setting + offset, by least squares (JCGM 100, H.3).
setting_linearity (V)
    How far the output is from that line at worst. Formula: greatest |V − line| over the positions.

The positions are visited on the way up and on the way down, so that drift which is straight over
the trial cancels in the mean of both, whether it is alike at every position (a meter's) or in
proportion to the output (a reference's). What the visits still differ by beside the readings'
scatter is the unit's own wander: a random walk of its reference, in proportion to the output, the
same for all positions, so that it bends the line. Departures from the line are the unit's own and
no uncertainty of it.

Components: scatter of the readings and the unit's own wander, both carried through the line where
there is one; lift by noise, where a greatest value is taken; the meter's absolute accuracy (its
offset moves all positions alike, its gain in proportion), of the linearity only what it wanders by
meanwhile; resolution. Source of the terms: common practice, no source.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from sequencer.documents.quantities import (
    NonNegativeVolts,
    PositiveSeconds,
    PositiveVolts,
    format_quantity,
)
from sequencer.errors import FigureError, TrialStopped
from sequencer.numerics.line import StraightLine
from sequencer.numerics.line_known import line_with_covariance, u_of_residuals
from sequencer.requests import Apply, Array, Procedure, Read, Settle, SupplyState
from sequencer.results import Chart, Component, Figure, Line, Shown
from sequencer.trials.parts import of
from sequencer.trials.steps import (
    LOAD_OFF,
    SETTLE_COUNT,
    SETTLE_LIMIT_S,
    leave,
    tolerances,
)
from sequencer.trials.trial import VOLTAGE, Context, Evidence, Point, Trial
from sequencer.uncertainty.accuracy import (
    Accuracy,
    absolute,
    beside_scatter,
    mean_of,
    reading_components,
    scale_components,
    wander_components,
)
from sequencer.uncertainty.combine import normal, rectangular, type_a
from sequencer.uncertainty.figure import make_figure
from sequencer.uncertainty.maximum import Maximum, greatest_departure

POSITIONS = 11
"""Every tenth of the range, both ends included."""


class Settings(BaseModel):
    """What a profile may say about set points."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    voltage_from: NonNegativeVolts = 0.0
    voltage_to: PositiveVolts
    positions: int = Field(default=POSITIONS, ge=4, le=1000)
    readings: int = Field(default=6, ge=2, le=1000)
    period: PositiveSeconds = 0.25


def procedure(settings: Settings, context: Context) -> Procedure:
    """Set each position from low to high and back without load, and read it."""
    if context.unit.unit.control == "hand":
        raise TrialStopped(
            "set_points needs a unit that is set by remote control: a hand turns its knob until "
            "the meter shows the wanted voltage, so that the meter would be measured, not the "
            "unit. Take this trial out of the profile."
        )
    yield Apply(LOAD_OFF)
    wanted = np.linspace(settings.voltage_from, settings.voltage_to, settings.positions)
    for setting in (float(one) for one in (*wanted, *wanted[::-1])):
        yield Apply(
            SupplyState(
                voltage=setting,
                current_limit="maximum",
                output=True,
                band=settings.voltage_to,
            )
        )
        yield Settle(
            tolerance=tolerances(context, (VOLTAGE,), settings.voltage_to),
            window_s=SETTLE_COUNT * settings.period,
            period_s=settings.period,
            limit_s=SETTLE_LIMIT_S,
        )
        yield Read((VOLTAGE,), settings.readings, settings.period, {"setting": setting})
    yield from leave()


@dataclass(frozen=True, slots=True)
class Spread:
    """By what the means of the positions are uncertain: covariance in V², degrees of freedom."""

    covariance: Array
    dof: float


@dataclass(frozen=True, slots=True)
class Positions:
    """Settings with their mean readings, in V, and the line through them.

    `scatter` is that of the readings, `wander` the unit's own. Each mean has so many `readings`,
    and all visits took `lag_s`.
    """

    settings: Array
    means: Array
    scatter: Spread
    wander: Spread
    readings: int
    lag_s: float

    @property
    def errors(self) -> Array:
        """What was read less what was set, in volts."""
        return self.means - self.settings

    @property
    def covariance(self) -> Array:
        """That of the means by both."""
        return self.scatter.covariance + self.wander.covariance

    def line(self, spread: Spread) -> StraightLine:
        """Return the line through the means, with the uncertainty by that."""
        return line_with_covariance(self.settings, self.means, spread.covariance, spread.dof)

    def parts(self, u: float, own: Callable[[Array], Array], at: int) -> list[Component]:
        """Return scatter and wander as they share in the `u` (V) of what stands at a position.

        `own` gives the variances that a covariance of the means makes of such values.
        """
        each = [float(own(one.covariance)[at]) for one in (self.scatter, self.wander)]
        whole = sum(each)
        shares = [sqrt(one / whole) if whole > 0.0 else 0.0 for one in each]
        return self.of(u * shares[0], u * shares[1])

    def of(self, by_scatter: float, by_wander: float) -> list[Component]:
        """Return both as components of these standard uncertainties."""
        return [
            of(type_a("scatter of the readings", by_scatter, self.scatter.dof), VOLTAGE),
            type_a("the unit's own wander", by_wander, self.wander.dof),
        ]


def positions(evidence: Evidence) -> Positions:
    """Return what was set and read.

    Raises
    ------
    FigureError
        When fewer than four positions were read.
    """
    visits: dict[float, list[Point]] = {}
    for point in evidence.points():
        visits.setdefault(float(point.tag["setting"]), []).append(point)
    if len(visits) < LEAST:
        raise FigureError(
            f"set points: {len(visits)} positions were read, expected at least {LEAST}."
        )
    both = {setting: two for setting, two in visits.items() if len(two) == TWICE}
    # Where the run ended early the mean of both visits would be of another time.
    used = both if len(both) >= LEAST else {setting: two[:1] for setting, two in visits.items()}
    means = np.array([np.mean([one.mean(VOLTAGE) for one in two]) for two in used.values()])
    count = min(one.values(VOLTAGE).size for two in used.values() for one in two)
    scatter = _scatter(used)
    wander = (
        _wander(used, scatter) if used is both else Spread(0.0 * scatter.covariance, scatter.dof)
    )
    times = [one.time(VOLTAGE) for two in used.values() for one in two]
    readings = count * (TWICE if used is both else 1)
    return Positions(
        np.array(list(used)), means, scatter, wander, readings, max(times) - min(times)
    )


def _scatter(visits: Mapping[float, list[Point]]) -> Spread:
    """Return the means' covariance by the scatter of the readings within a visit, pooled."""
    values = [point.values(VOLTAGE) for two in visits.values() for point in two]
    count = min(one.size for one in values)
    of_visit = float(np.mean([np.var(one, ddof=1) for one in values])) / count
    of_mean = of_visit * len(visits) / len(values)
    return Spread(of_mean * np.eye(len(visits)), (count - 1.0) * len(values))


def _wander(visits: Mapping[float, list[Point]], scatter: Spread) -> Spread:
    """Return the means' covariance by the unit's own wander, from what both visits differ by.

    A meter drifts alike at every position, a reference in proportion to the output. The mean of
    both visits, all about one moment, has no trace of either, so neither is wander. A random walk
    in proportion to the output makes a position's visits, `lag` apart, differ by the variance
    walk·lag·output², and has min(lag, lag') of it in common with another's; their means differ from
    the middle by a quarter of that. The walk is the one for which noise and walk together leave on
    average what was left (method of moments).
    """
    outputs = np.array(list(visits))
    apart = np.array([two[1].mean(VOLTAGE) - two[0].mean(VOLTAGE) for two in visits.values()])
    lag = np.array([two[1].time(VOLTAGE) - two[0].time(VOLTAGE) for two in visits.values()])
    steady = np.column_stack([lag, lag * outputs])
    beside = np.eye(apart.size) - steady @ np.linalg.pinv(steady)
    rest = beside @ apart
    walk = np.minimum.outer(lag, lag) * np.outer(outputs, outputs)
    left = beside @ walk @ beside
    # The noise of a difference is four times that of the mean of both.
    noise = 4.0 * float(np.trace(beside @ scatter.covariance))
    size = max((float(rest @ rest) - noise) / float(np.trace(left)), 0.0)
    dof = float(np.trace(left)) ** 2 / float(np.trace(left @ left))
    return Spread(size / 4.0 * walk, max(dof, 1.0))


TWICE = 2

LEAST = 4
"""A line through fewer positions leaves no scatter to judge by."""


def figures(settings: Settings, evidence: Evidence) -> tuple[Figure, ...]:
    """Compute the greatest setting error, gain, offset and linearity of the setting.

    Definitions, components and source: `sequencer.trials.set_points`.

    Raises
    ------
    FigureError
        When fewer than four positions were read.
    """
    found = positions(evidence)
    meter = evidence.context.accuracy(VOLTAGE)
    reached = {"voltage": float(found.settings.max())}
    by_scatter, by_wander = found.line(found.scatter), found.line(found.wander)
    line, steps = by_scatter, found.line(_steps(meter, found))
    rest = line.residuals(found.settings, found.means)
    worst = _greatest(found.errors, np.sqrt(np.diag(found.covariance)))
    off = _greatest(rest, u_of_residuals(found.settings, found.covariance))
    at = {name: found.settings[one.index] for name, one in (("worst", worst), ("off", off))}
    return (
        make_figure(
            evidence.trial,
            "setting_error",
            worst.value,
            "V",
            [
                *found.parts(worst.u, np.diag, worst.index),
                *mean_of(beside_scatter(meter), float(found.means[worst.index]), found.readings),
                rectangular("lift by noise", worst.u_bias * sqrt(3.0)),
            ],
            reached=reached,
            points=[_at(evidence, found, index) for index in range(found.settings.size)],
            points_by="voltage",
            notes=(
                f"At a setting of {at['worst']:.4g} V, where the output was off by "
                f"{format_quantity(float(found.errors[worst.index]), 'V', 3)}.",
            ),
        ),
        make_figure(
            evidence.trial,
            "setting_gain_error",
            line.slope - 1.0,
            "1",
            [
                *found.of(by_scatter.u_slope, by_wander.u_slope),
                of(normal("resolution", steps.u_slope), VOLTAGE, "1"),
                *scale_components(meter, line.slope),
                of(rectangular("gain stability", meter.stability_gain, line.slope), VOLTAGE, "1"),
            ],
            reached=reached,
        ),
        make_figure(
            evidence.trial,
            "setting_offset",
            line.intercept,
            "V",
            [
                *found.of(by_scatter.u_intercept, by_wander.u_intercept),
                of(normal("resolution", steps.u_intercept), VOLTAGE, "V"),
                *absolute(replace(meter, noise=0.0, resolution=0.0), 0.0),
            ],
            reached=reached,
        ),
        make_figure(
            evidence.trial,
            "setting_linearity",
            off.value,
            "V",
            [
                *found.parts(
                    off.u, lambda one: u_of_residuals(found.settings, one) ** 2, off.index
                ),
                *reading_components(beside_scatter(meter), found.readings),
                rectangular("lift by noise", off.u_bias * sqrt(3.0)),
                *scale_components(meter, float(rest[off.index])),
                *wander_components(
                    meter,
                    float(found.means[off.index]),
                    lag_s=found.lag_s,
                    heating_change=0.0,
                ),
            ],
            reached=reached,
            notes=(f"At a setting of {at['off']:.4g} V.",),
        ),
    )


def _at(evidence: Evidence, found: Positions, index: int) -> Figure:
    """Return what one position is off by."""
    meter = beside_scatter(evidence.context.accuracy(VOLTAGE))
    return make_figure(
        evidence.trial,
        "setting_error",
        abs(float(found.errors[index])),
        "V",
        [
            *found.parts(sqrt(found.covariance[index, index]), np.diag, index),
            *mean_of(meter, float(found.means[index]), found.readings),
        ],
        reached={"voltage": float(found.settings[index])},
    )


def _greatest(values: Array, u: Array) -> Maximum:
    """Return the greatest departure; nothing lifts it where all readings were alike."""
    return greatest_departure(values, u if u.all() else float(u.max()))


def _steps(meter: Accuracy, found: Positions) -> Spread:
    """Return what the display's step makes of the means."""
    step = beside_scatter(meter).resolution / sqrt(12.0)
    return Spread(step**2 * np.eye(found.settings.size), float("inf"))


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw what each position is off by, with the line."""
    found = positions(evidence)
    line = found.line(found.scatter)
    ends = np.array([found.settings.min(), found.settings.max()])
    return (
        Chart(
            trial=evidence.trial,
            title="Set points: how far the output is from its setting",
            shows=(Shown("setting_error", "y", mirrored=True),),
            x_label="setting",
            x_unit="V",
            y_label="voltage.sense less setting",
            y_unit="V",
            lines=(
                Line(
                    "read, mean",
                    tuple(map(float, found.settings)),
                    tuple(map(float, found.errors)),
                    y_error=tuple(2.0 * np.sqrt(np.diag(found.covariance))),
                ),
                Line(
                    "straight line",
                    tuple(map(float, ends)),
                    tuple(line.at(float(x)) - float(x) for x in ends),
                    style="line",
                    quantity="line",
                ),
            ),
            caption=(
                "Without load. Bars: two standard uncertainties from scatter and wander only; what "
                "the meter may be wrong by isn't in them."
            ),
        ),
    )


TRIAL = Trial(
    name="set_points",
    summary="Whether the output is where its controls say.",
    settings=Settings,
    gives=("setting_error", "setting_gain_error", "setting_offset", "setting_linearity"),
    needs=(VOLTAGE,),
    procedure=procedure,
    figures=figures,
    charts=charts,
)
