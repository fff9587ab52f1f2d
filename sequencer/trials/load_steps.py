"""Load steps: how far the output falls as the load rises (load regulation, load effect).

Each level is visited between two visits to no load (0, f, 0, f', 0, …) and compared with a cubic
through the four about it, so that drift cancels; the round is repeated, and the scatter between
rounds is the type A uncertainty. Term: load effect, IEC 61204.
"""

from collections.abc import Generator, Sequence
from contextlib import suppress
from typing import ClassVar

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from sequencer.documents.quantities import (
    PositiveAmperes,
    PositiveSeconds,
    PositiveVolts,
    Ratio,
    format_quantity,
)
from sequencer.errors import FigureError
from sequencer.requests import Procedure, Readings, Reply, Request
from sequencer.results import Chart, Figure, Line, Shown
from sequencer.trials import ammeters
from sequencer.trials.brackets import (
    SCATTER_BARS,
    LevelMeans,
    current_components,
    held_points,
    level_means,
    mean_difference,
    not_held,
    reached_by,
    slope_components,
    step_to,
)
from sequencer.trials.by_hand import Group, groups, rounds
from sequencer.trials.parts import of
from sequencer.trials.promised import NEARLY, promised_below, with_points
from sequencer.trials.steps import (
    leave,
    prepare,
    read_at,
    tolerances,
)
from sequencer.trials.thermal_tail import hold, tail_chart, tail_figure
from sequencer.trials.thermal_tail import lacks as no_tail
from sequencer.trials.trial import VOLTAGE, Context, Evidence, Point, Trial
from sequencer.uncertainty.accuracy import scale_components
from sequencer.uncertainty.combine import rectangular, scaled, type_a
from sequencer.uncertainty.figure import make_figure
from sequencer.uncertainty.maximum import greatest_departure

STANDARD_FRACTIONS = (0.1, 0.25, 0.5, 0.75, 0.9, 1.0)
"""Customary load points beside no load (common practice, no source)."""


GIVES = (
    "load_regulation",
    "load_change",
    "load_change_ratio",
    "output_resistance",
    "load_linearity",
)
"""Figures of the levels."""


class Settings(BaseModel):
    """What a profile may say about load steps."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    by_resistors: ClassVar[bool] = True

    voltage: PositiveVolts
    current: PositiveAmperes
    fractions: tuple[Ratio, ...] = Field(default=STANDARD_FRACTIONS, min_length=3)
    repeats: int = Field(default=4, ge=2, le=100)
    readings: int = Field(default=6, ge=2, le=1000)
    period: PositiveSeconds = 0.25
    tail: PositiveSeconds = 300.0
    tail_period: PositiveSeconds = 1.0


def procedure(settings: Settings, context: Context) -> Procedure:
    """Hold a step for its tail, then visit every level between two visits to no load, in rounds.

    Levels that need a resistor by hand are visited between visits to a level that others share.
    """
    tolerance = tolerances(context, (VOLTAGE,), settings.voltage)

    def visit(
        group: Group, fraction: float, level: float, part: str
    ) -> Generator[Request, Reply, Readings]:
        return read_at(
            group.state(fraction, level - fraction * settings.current),
            channels=(VOLTAGE, *ammeters.channels_of(context)),
            tolerance=tolerance,
            readings=settings.readings,
            period_s=settings.period,
            tag={"fraction": fraction, "part": part, **group.tag},
        )

    yield from prepare(settings.voltage)
    # The greatest current first: what a person has connected for the tail stays where it is.
    found = groups(context, settings.voltage, settings.current, settings.fractions)[::-1]
    yield from hold(
        context,
        settings.voltage,
        settings.current,
        settings.tail,
        settings.tail_period,
        then=found[0].rest,
    )
    for group in found:
        yield from rounds(group, visit, context.current, settings.repeats)
    yield from leave()


def figures(settings: Settings, evidence: Evidence) -> tuple[Figure, ...]:
    """Compute load regulation, end-to-end change, output resistance, linearity, thermal tail.

    load_regulation (V)
        The greatest change of the output voltage from no load, over all visited levels, at
        unchanged heat: each level is compared with no load just before and after it. Formula:
        max |V(I) − V(0)|. Components: scatter between rounds; the voltmeter's gain on the
        difference alone, its noise, resolution, stability and thermal EMF between neighbouring
        visits; what the ammeter is wrong by, times the slope at full current; step to the stated
        current. Source: IEC 61204 (load effect); the formula is common practice.
    load_change, load_change_ratio (V, signed; 1)
        The change from no load to full current, and the same over the set voltage. Formula:
        V(I_max) − V(0); (V(I_max) − V(0))/V_set. Components: as load_regulation: scatter between
        rounds; voltmeter; ammeter; step to the stated current. Source: IEC 61204 (load effect).
    output_resistance (ohm)
        The slope of the output voltage against current. Formula: minus the least-squares slope of
        V − V(0) against I − I(0). Components: scatter between rounds, carried through the fit
        (noise of the readings as what neighbouring visits share, the rest as a wander that the
        visits to no load follow); the gains of voltmeter and ammeter, as a share of the slope;
        their stability over the time between visits; their resolution where noise does not
        dither it. Offsets cancel. Source: NIST/SEMATECH e-Handbook 4.1.4.1 (least squares); the
        definition is common practice.
    load_linearity (V)
        The greatest departure of the output from its straight line. Formula:
        max |V(I) − V(0) − a − b·I|, less what noise lifts a greatest value by on average.
        Components: scatter between rounds, as the line goes along with it; lift by noise (half of
        what was taken off); the voltmeter as in load_regulation. Source: common
        practice; the lift by order statistics (David and Nagaraja, 5.1).

    Raises
    ------
    FigureError
        When no level was visited twice between visits to no load.
    """
    context = evidence.context
    points = evidence.points(part="round")
    if not points:
        raise FigureError("The run ended before the load steps began.")
    everywhere = level_means(points, VOLTAGE, context.current)
    of_held = _held_means(settings, evidence)
    currents = [settings.current, *promised_below(context, GIVES, "current_to", settings.current)]
    whole, *parts = (_to(current, settings, evidence, everywhere, of_held) for current in currents)
    found = [with_points(one, parts, "current_to") for one in whole]
    with suppress(FigureError):  # said by `cannot`
        found.append(tail_figure(evidence, settings.voltage))
    with suppress(FigureError):  # said by `cannot`
        found += ammeters.figures_of_ammeters(evidence)
    return tuple(found)


def _to(
    current: float,
    settings: Settings,
    evidence: Evidence,
    everywhere: LevelMeans,
    held: LevelMeans | None,
) -> list[Figure]:
    """Return the figures of the levels up to a current (A): the whole, or a promised part of it."""
    share = current / settings.current
    upon = settings.model_copy(update={"current": current})
    rounds_read = evidence.points(part="round")
    points = [one for one in rounds_read if float(one.tag["fraction"]) <= share * NEARLY]
    missing = not_held(points, evidence.context, settings.voltage, settings.current)
    means = everywhere.up_to(share * NEARLY)
    if means.di.size < LEAST_LEVELS:
        return []
    found = [
        _regulation(upon, evidence, means, missing),
        *_end_to_end(upon, evidence, means, missing),
    ]
    line = None if held is None else held.up_to(share * NEARLY)
    if line is not None and line.di.size > LEAST_HELD:
        found.append(_resistance(upon, evidence, line, missing))
        found.append(_linearity(upon, evidence, line, missing))
    return found


LEAST_LEVELS = 2


def _held_means(settings: Settings, evidence: Evidence) -> LevelMeans | None:
    """Return the levels that the unit delivered, None where these are too few for a line."""
    points, context = evidence.points(part="round"), evidence.context
    held = held_points(points, context, settings.voltage, settings.current)
    if len({point.tag["fraction"] for point in held}) <= LEAST_HELD:
        return None
    return level_means(held, VOLTAGE, context.current)


def lacks(settings: Settings, context: Context) -> dict[str, str]:
    """Say that one ammeter alone can't be compared, and nobody types a tail."""
    return {**ammeters.lacks(context), **no_tail(context)}


def cannot(settings: Settings, evidence: Evidence) -> dict[str, str]:
    """Say why there is no thermal tail, or no comparison of the ammeters, if so.

    And that the output did not stand where it was set, which no figure's own reason tells.
    """
    reasons: dict[str, str] = {}
    points = evidence.points(part="round")
    if why := moved_from(settings.voltage, points):
        reasons["set_voltage"] = why
    try:
        tail_figure(evidence, settings.voltage)
    except FigureError as error:
        reasons["thermal_tail"] = str(error)
    try:
        ammeters.figures_of_ammeters(evidence)
    except FigureError as error:
        reasons |= dict.fromkeys(ammeters.GIVES, str(error))
    return reasons


def moved_from(voltage: float, points: Sequence[Point]) -> str:
    """Say that the output without load does not stand at its setting (V); "" where it does."""
    found = [one.mean(VOLTAGE) for one in points if one.tag["fraction"] == 0.0]
    worst = max(found, key=lambda one: abs(one - voltage), default=voltage)
    if abs(worst - voltage) <= MOVED_SHARE * voltage:
        return ""
    return (
        f"Warning: without load the output stood at {format_quantity(worst, 'V', 4)}, not at the "
        f"{format_quantity(voltage, 'V', 4)} that were set: the knob was moved, or a sense lead "
        "came off. Look at both before anything is put on again."
    )


MOVED_SHARE = 0.01
"""Nobody sets an output worse than by 1 % (common practice, no source)."""

LEAST_HELD = 2
"""A straight line needs more than two levels beside no load."""


def _regulation(settings: Settings, evidence: Evidence, means: LevelMeans, missing: str) -> Figure:
    greatest = int(np.argmax(np.abs(means.dv)))
    step = step_to(means, settings.current) if greatest == means.dv.size - 1 else 0.0
    change = float(means.dv[greatest]) + step
    drift = format_quantity(means.voltage.drift_over_visit, "V", 3)
    return make_figure(
        evidence.trial,
        "load_regulation",
        abs(change),
        "V",
        [
            *mean_difference(
                evidence.context,
                VOLTAGE,
                settings.voltage,
                change,
                means,
                of(
                    type_a(
                        "scatter between rounds", float(means.u_dv[greatest]), means.voltage.dof
                    ),
                    VOLTAGE,
                    "V",
                ),
            ),
            *current_components(evidence.context, means, step),
        ],
        reached=reached_by(means),
        notes=(
            *filter(None, (missing,)),
            f"The unit drifted by {drift} during the trial; visits to no load around "
            "every level remove it.",
        ),
    )


def _end_to_end(
    settings: Settings, evidence: Evidence, means: LevelMeans, missing: str
) -> tuple[Figure, Figure]:
    """Return the signed change from no load to full current, in volts and over the setting."""
    step = step_to(means, settings.current)
    change = float(means.dv[-1]) + step
    budget = [
        *mean_difference(
            evidence.context,
            VOLTAGE,
            settings.voltage,
            change,
            means,
            of(
                type_a("scatter between rounds", float(means.u_dv[-1]), means.voltage.dof),
                VOLTAGE,
                "V",
            ),
        ),
        *current_components(evidence.context, means, step),
    ]
    per_volt = 1.0 / settings.voltage
    part = format_quantity(change * per_volt, "%", 2)
    notes = (*filter(None, (missing,)), f"{part} of the set voltage.")
    reached = reached_by(means)
    ratio = change * per_volt
    return (
        make_figure(
            evidence.trial, "load_change", change, "V", budget, reached=reached, notes=notes
        ),
        make_figure(
            evidence.trial,
            "load_change_ratio",
            ratio,
            "1",
            scaled(budget, per_volt),
            reached=reached,
            notes=notes,
        ),
    )


def _resistance(settings: Settings, evidence: Evidence, means: LevelMeans, missing: str) -> Figure:
    context = evidence.context
    line = means.line
    full = float(means.di[-1])
    return make_figure(
        evidence.trial,
        "output_resistance",
        -line.slope,
        "ohm",
        [
            of(type_a("scatter between rounds", line.u_slope, line.dof), VOLTAGE, "ohm"),
            *slope_components(context, VOLTAGE, settings.voltage, means, per_unit=1 / full),
            *scale_components(context.accuracy(VOLTAGE), line.slope),
            *slope_components(context, context.current, full, means, per_unit=line.slope / full),
            *scale_components(context.accuracy(context.current), line.slope),
        ],
        reached=reached_by(means),
        notes=tuple(filter(None, (missing,))),
    )


def _linearity(settings: Settings, evidence: Evidence, means: LevelMeans, missing: str) -> Figure:
    departures, own = means.departures
    greatest = greatest_departure(departures, own if own.all() else float(own.max()))
    return make_figure(
        evidence.trial,
        "load_linearity",
        greatest.value,
        "V",
        [
            *mean_difference(
                evidence.context,
                VOLTAGE,
                settings.voltage,
                float(departures[greatest.index]),
                means,
                of(type_a("scatter between rounds", greatest.u, means.voltage.dof), VOLTAGE, "V"),
            ),
            rectangular("lift by noise", greatest.u_bias * np.sqrt(3.0)),
        ],
        reached=reached_by(means),
        notes=(
            *filter(None, (missing,)),
            "A greatest departure of noisy values is larger than the true one; what noise adds on "
            "average has been taken off.",
        ),
    )


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw the change of the output against the current, with its straight line."""
    means = level_means(evidence.points(part="round"), VOLTAGE, evidence.context.current)
    held = _held_means(settings, evidence) or means
    line = held.line
    ends = (0.0, float(held.di[-1]))
    return (
        Chart(
            trial=evidence.trial,
            title="Load steps: change of output with current",
            shows=(Shown("load_regulation", "y", mirrored=True),),
            x_label="current",
            x_unit="A",
            y_label="change of voltage.sense from no load",
            y_unit="V",
            lines=(
                Line(
                    "measured, mean of rounds",
                    tuple(map(float, means.di)),
                    tuple(map(float, means.dv)),
                    y_error=tuple(2 * float(u) for u in means.u_dv),
                ),
                Line("straight line", ends, tuple(line.at(x) for x in ends), style="line"),
            ),
            caption=(
                f"{settings.repeats} rounds at {settings.voltage:.6g} V; every level is compared "
                f"with no load before and after it. {SCATTER_BARS}"
            ),
        ),
        *tail_chart(evidence, settings.voltage),
        *ammeters.charts_of_ammeters(evidence),
    )


TRIAL = Trial(
    name="load_steps",
    summary="How far the output falls as the load rises.",
    settings=Settings,
    gives=(*GIVES, "thermal_tail", *ammeters.GIVES),
    needs=(VOLTAGE, "current."),
    procedure=procedure,
    figures=figures,
    charts=charts,
    cannot=cannot,
    lacks=lacks,
)
