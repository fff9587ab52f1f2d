"""Set points: whether the output is where its controls say, from one end of the range to the other.

A unit with remote control is set to each position and read. A hand that turns a knob until the
meter shows the wanted voltage has no setting error of its own: there the trial is refused.

setting_error (V)
    Greatest |V − setting| over the positions.
setting_gain_error (1), setting_offset (V)
    Slope less 1, and intercept, of the least-squares line of V against the setting (JCGM 100, H.3).
setting_linearity (V)
    Greatest departure of V from that line.

Components: scatter of the readings or about the line; the meter's absolute accuracy (its offset
moves all positions alike, its gain in proportion). Source of the terms: common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from sequencer.documents.quantities import NonNegativeVolts, PositiveSeconds, PositiveVolts
from sequencer.errors import FigureError, TrialStopped
from sequencer.numerics.line import StraightLine, fit_line
from sequencer.requests import Apply, Array, Procedure, Read, Settle, SupplyState
from sequencer.results import Chart, Figure, Line, Shown
from sequencer.trials.steps import (
    LOAD_OFF,
    SETTLE_COUNT,
    SETTLE_LIMIT_S,
    leave,
    tolerances,
)
from sequencer.trials.trial import VOLTAGE, Context, Evidence, Trial
from sequencer.uncertainty.accuracy import absolute, mean_of, scale_components
from sequencer.uncertainty.combine import type_a
from sequencer.uncertainty.figure import make_figure

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
    """Set each position from low to high without load, and read it."""
    if context.unit.unit.control == "hand":
        raise TrialStopped(
            "set_points needs a unit that is set by remote control: a hand turns its knob until "
            "the meter shows the wanted voltage, so that the meter would be measured, not the "
            "unit. Take this trial out of the profile."
        )
    yield Apply(LOAD_OFF)
    wanted = np.linspace(settings.voltage_from, settings.voltage_to, settings.positions)
    for setting in (float(one) for one in wanted):
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
    """Settings, mean readings, standard uncertainties of these by scatter, and the line."""

    settings: Array
    means: Array
    u: Array
    readings: int
    line: StraightLine

    @property
    def errors(self) -> Array:
        """What was read less what was set, in volts."""
        return self.means - self.settings


def positions(evidence: Evidence) -> Positions:
    """Return what was set and read.

    Raises
    ------
    FigureError
        When fewer than four positions were read.
    """
    points = evidence.points()
    if len(points) < LEAST:
        raise FigureError(
            f"set points: {len(points)} positions were read, expected at least {LEAST}."
        )
    wanted = np.array([float(point.tag["setting"]) for point in points])
    means = np.array([point.mean(VOLTAGE) for point in points])
    count = min(point.values(VOLTAGE).size for point in points)
    scatter = np.array([float(np.std(point.values(VOLTAGE), ddof=1)) for point in points])
    return Positions(wanted, means, scatter / np.sqrt(count), count, fit_line(wanted, means))


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
    worst = int(np.argmax(np.abs(found.errors)))
    rest = found.line.residuals(found.settings, found.means)
    off = int(np.argmax(np.abs(rest)))
    dof = (found.readings - 1.0) * found.means.size
    pooled = float(np.sqrt(np.mean(found.u**2)))
    reached = {"voltage": float(found.settings.max())}
    line = found.line
    return (
        make_figure(
            evidence.trial,
            "setting_error",
            abs(float(found.errors[worst])),
            "V",
            mean_of(
                meter,
                float(found.means[worst]),
                found.readings,
                scatter=type_a("scatter of the readings", pooled, dof),
            ),
            reached=reached,
            notes=(
                f"At a setting of {found.settings[worst]:.4g} V, where the output was "
                f"{found.errors[worst] * 1e3:+.3g} mV off.",
            ),
        ),
        make_figure(
            evidence.trial,
            "setting_gain_error",
            line.slope - 1.0,
            "1",
            [
                type_a("scatter about the line", line.u_slope, line.dof),
                *scale_components(meter, line.slope),
            ],
            reached=reached,
        ),
        make_figure(
            evidence.trial,
            "setting_offset",
            line.intercept,
            "V",
            [
                type_a("scatter about the line", line.u_intercept, line.dof),
                *absolute(meter, 0.0),
            ],
            reached=reached,
        ),
        make_figure(
            evidence.trial,
            "setting_linearity",
            abs(float(rest[off])),
            "V",
            [
                type_a("scatter of the readings", pooled, dof),
                type_a("the line at that setting", line.u_at(float(found.settings[off])), line.dof),
                *scale_components(meter, float(rest[off])),
            ],
            reached=reached,
            notes=(f"At a setting of {found.settings[off]:.4g} V.",),
        ),
    )


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw what each position is off by, with the line."""
    found = positions(evidence)
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
                    y_error=tuple(2 * float(u) for u in found.u),
                ),
                Line(
                    "straight line",
                    tuple(map(float, ends)),
                    tuple(found.line.at(float(x)) - float(x) for x in ends),
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
