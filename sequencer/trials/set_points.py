"""Set points: whether the output is where its controls say, from one end of the range to the other.

A unit with remote control is set to each position and read. A hand that turns a knob until the
meter shows the wanted voltage has no setting error of its own: there the trial is refused.

setting_error (V)
    Greatest |V − setting| over the positions.
setting_gain_error (1), setting_offset (V)
    Slope less 1, and intercept, of the least-squares line of V against the setting (JCGM 100, H.3).
setting_linearity (V)
    Greatest departure of V from that line.

The positions are visited on the way up and on the way down, so that drift which is straight over
the trial cancels in the mean of both, whether it is alike at every position (a meter's) or in
proportion to the output (a reference's); what they still differ by is the scatter. Departures from
the line are the unit's own and no uncertainty of it.

Components: scatter between both visits, carried through the line where there is one; lift by noise,
where a greatest value is taken; the meter's absolute accuracy (its offset moves all positions
alike, its gain in proportion), of the linearity only what it wanders by meanwhile; resolution.
Source of the terms: common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from sequencer.documents.quantities import NonNegativeVolts, PositiveSeconds, PositiveVolts
from sequencer.errors import FigureError, TrialStopped
from sequencer.numerics.line import StraightLine
from sequencer.numerics.line_known import line_with_covariance, u_of_residuals
from sequencer.requests import Apply, Array, Procedure, Read, Settle, SupplyState
from sequencer.results import Chart, Figure, Line, Shown
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
    is_dithered,
    mean_of,
    reading_components,
    scale_components,
    wander_components,
)
from sequencer.uncertainty.combine import normal, rectangular, type_a
from sequencer.uncertainty.figure import make_figure
from sequencer.uncertainty.maximum import greatest_departure

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
class Positions:
    """Settings with their mean readings, in V, and the line through them.

    `u` is the standard uncertainty of each mean by scatter, `dof` its degrees of freedom. Each mean
    has so many `readings`, and all visits took `lag_s`.
    """

    settings: Array
    means: Array
    u: float
    dof: float
    readings: int
    lag_s: float

    @property
    def errors(self) -> Array:
        """What was read less what was set, in volts."""
        return self.means - self.settings

    def covariance(self, u: float) -> Array:
        """Return the covariance of means that are each uncertain by `u` on their own."""
        return u**2 * np.eye(self.settings.size)

    def line(self, u: float) -> StraightLine:
        """Return the line through such means."""
        return line_with_covariance(self.settings, self.means, self.covariance(u), self.dof)


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
    u, dof = _between(used) if used is both else _within(used)
    times = [one.time(VOLTAGE) for two in used.values() for one in two]
    readings = count * (TWICE if used is both else 1)
    return Positions(np.array(list(used)), means, u, dof, readings, max(times) - min(times))


def _between(visits: Mapping[float, list[Point]]) -> tuple[float, float]:
    """Return u of a mean of two visits by what they differ by beside a steady drift, and dof.

    A meter drifts alike at every position, a reference in proportion to the output. The mean of
    both visits, all about one moment, has no trace of either, so neither is scatter.
    """
    apart = np.array([two[1].mean(VOLTAGE) - two[0].mean(VOLTAGE) for two in visits.values()])
    lag = np.array([two[1].time(VOLTAGE) - two[0].time(VOLTAGE) for two in visits.values()])
    steady = np.column_stack([lag, lag * np.array(list(visits))])
    rates, *_ = np.linalg.lstsq(steady, apart, rcond=None)
    rest = apart - steady @ rates
    dof = apart.size - 2.0
    return float(np.sqrt(rest @ rest / dof)) / 2.0, dof


def _within(visits: Mapping[float, list[Point]]) -> tuple[float, float]:
    """Return u of the mean of one visit by the scatter of its readings, pooled, and dof."""
    values = [two[0].values(VOLTAGE) for two in visits.values()]
    count = min(one.size for one in values)
    pooled = float(np.mean([np.var(one, ddof=1) for one in values]))
    return float(np.sqrt(pooled / count)), (count - 1.0) * len(values)


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
    line, steps = found.line(found.u), found.line(_step(meter))
    rest = line.residuals(found.settings, found.means)
    worst = greatest_departure(found.errors, found.u)
    off = greatest_departure(rest, u_of_residuals(found.settings, found.covariance(found.u)))
    at = {name: found.settings[one.index] for name, one in (("worst", worst), ("off", off))}
    return (
        make_figure(
            evidence.trial,
            "setting_error",
            worst.value,
            "V",
            [
                *mean_of(
                    meter,
                    float(found.means[worst.index]),
                    found.readings,
                    scatter=type_a("scatter between both visits", worst.u, found.dof),
                ),
                rectangular("lift by noise", worst.u_bias * sqrt(3.0)),
            ],
            reached=reached,
            notes=(
                f"At a setting of {at['worst']:.4g} V, where the output was "
                f"{found.errors[worst.index] * 1e3:+.3g} mV off.",
            ),
        ),
        make_figure(
            evidence.trial,
            "setting_gain_error",
            line.slope - 1.0,
            "1",
            [
                type_a("scatter between both visits", line.u_slope, line.dof),
                normal("resolution", steps.u_slope),
                *scale_components(meter, line.slope),
                rectangular("gain stability", meter.stability_gain, line.slope),
            ],
            reached=reached,
        ),
        make_figure(
            evidence.trial,
            "setting_offset",
            line.intercept,
            "V",
            [
                type_a("scatter between both visits", line.u_intercept, line.dof),
                normal("resolution", steps.u_intercept),
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
                *reading_components(
                    meter, found.readings, type_a("scatter between both visits", off.u, found.dof)
                ),
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


def _step(meter: Accuracy) -> float:
    """Return what the display's step makes of a mean, V; where noise dithers it, scatter has it."""
    return 0.0 if is_dithered(meter) else meter.resolution / sqrt(12.0)


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw what each position is off by, with the line."""
    found = positions(evidence)
    line = found.line(found.u)
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
                    y_error=(2 * found.u,) * found.means.size,
                ),
                Line(
                    "straight line",
                    tuple(map(float, ends)),
                    tuple(line.at(float(x)) - float(x) for x in ends),
                    style="line",
                    quantity="line",
                ),
            ),
            caption="Without load. Bars: two standard uncertainties from scatter.",
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
