"""Sense check: whether the unit regulates where the load is, or somewhere before it.

Change of voltage from no load, at the load's terminals less at the sense points, against current:
its slope is the resistance that the sense leads don't cover. Before the current is raised, a
small one must show leads that are plausible.
"""

from collections.abc import Callable, Generator
from dataclasses import dataclass, replace
from functools import partial
from typing import ClassVar

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from sequencer.documents.quantities import (
    PositiveAmperes,
    PositiveSeconds,
    PositiveSquareMetres,
    PositiveVolts,
    Ratio,
    format_quantity,
)
from sequencer.documents.wiring import COPPER_OHM_M
from sequencer.errors import FigureError, TrialStopped
from sequencer.requests import Procedure, Readings, Reply, Request
from sequencer.results import Chart, Component, Figure, Line, Shown
from sequencer.trials.brackets import (
    SCATTER_BARS,
    LevelMeans,
    current_components,
    held_points,
    level_means,
    not_held,
    reached_by,
    slope_components,
    step_doubt,
    step_to,
)
from sequencer.trials.by_hand import Group, groups, rounds
from sequencer.trials.following import does_not_follow, expected_drop, not_told
from sequencer.trials.parts import of
from sequencer.trials.steps import (
    leave,
    mean_of,
    prepare,
    read_at,
    tolerances,
)
from sequencer.trials.trial import (
    VOLTAGE,
    VOLTAGE_AT_LOAD,
    VOLTAGE_AT_TERMINALS,
    Context,
    Evidence,
    Point,
    Trial,
    difference_name,
)
from sequencer.trials.two_places import (
    at_place,
    both_places,
    drift_between,
    gap_between,
    is_moved,
    move,
)
from sequencer.uncertainty.accuracy import scale_components, wander_components
from sequencer.uncertainty.combine import scaled, type_a
from sequencer.uncertainty.figure import make_figure

EQUIVALENT_AREA_M2 = 2.5e-6
"""Where neither profile nor wiring says a cross-section, the residual is told in 2.5 mm²."""

FIRST_FRACTION = 0.05
"""The current that must show plausible leads before more is drawn."""

STRAY_SHARE, STRAY_A = 0.01, 0.02
"""With the load off no more flows than 1 % of the rating and an ammeter's 20 mA."""

PLAUSIBLE_DROP_V = 0.5
"""Without an allowance in the unit document, half a volt at full current (common practice)."""


class Settings(BaseModel):
    """What a profile may say about a sense check."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    by_resistors: ClassVar[bool] = True

    voltage: PositiveVolts
    current: PositiveAmperes
    fractions: tuple[Ratio, ...] = Field(default=(0.25, 0.5, 0.75, 1.0), min_length=2)
    repeats: int = Field(default=3, ge=2, le=100)
    readings: int = Field(default=6, ge=2, le=1000)
    period: PositiveSeconds = 0.25
    cross_section: PositiveSquareMetres | None = None


def channels_of(context: Context, place: str | None = None) -> tuple[str, ...]:
    """Return the channels to read: both places that are compared, and the terminals if wired.

    With one meter only what can be read in a place: VOLTAGE or VOLTAGE_AT_LOAD.
    """
    optional = (VOLTAGE_AT_TERMINALS,) if has_terminals(context) else ()
    places = (VOLTAGE, VOLTAGE_AT_LOAD) if place is None else (place,)
    return (*places, *optional, context.current)


def has_terminals(context: Context) -> bool:
    """Return whether the unit's terminals are read beside the sense points."""
    if not context.has(VOLTAGE_AT_TERMINALS):
        return False
    there = context.bench.channels[VOLTAGE_AT_TERMINALS]
    return there.leads is None or there.leads == context.bench.channels[VOLTAGE].leads


def procedure(settings: Settings, context: Context) -> Procedure:
    """Check the leads at a small current, then visit each level between two visits to no load.

    With one meter all that is done where its leads are, then at the other place; they come back
    at the end only where what follows expects them (`sequencer.order`).
    """
    moved = is_moved(context)
    first, second = both_places(context)
    place = first if moved else ""

    def visit(
        group: Group, fraction: float, level: float, part: str
    ) -> Generator[Request, Reply, Readings]:
        tag: dict[str, float | str] = {"fraction": fraction, "part": part, **group.tag}
        if moved:
            tag["place"] = place
        steady = (place,) if moved else (VOLTAGE, VOLTAGE_AT_LOAD)
        return read_at(
            group.state(fraction, level - fraction * settings.current),
            channels=channels_of(context, place or None),
            tolerance=tolerances(context, steady, settings.voltage),
            readings=settings.readings,
            period_s=settings.period,
            tag=tag,
        )

    yield from prepare(settings.voltage, place or VOLTAGE)
    found = groups(context, settings.voltage, settings.current, settings.fractions)
    yield from _look_first(settings, context, partial(visit, found[0]))
    trimmed = {}
    for group in found:
        trimmed[group.number] = yield from rounds(group, visit, context.current, settings.repeats)
    if moved:
        yield from move(context, second, settings.voltage)
        place = second
        yield from _look_first(settings, context, partial(visit, found[0]))
        for group in found:
            level = trimmed[group.number]
            yield from rounds(group, visit, context.current, settings.repeats, level)
        if context.leads_back:
            yield from move(context, first, settings.voltage)
    yield from leave()


Visit = Callable[[float, float, str], Generator[Request, Reply, Readings]]


def _look_first(
    settings: Settings, context: Context, visit: Visit
) -> Generator[Request, Reply, None]:
    """Look at a small current whether the leads are plausible.

    Raises
    ------
    TrialStopped
        With what is not; the current was not raised further.
    """
    allowed = context.unit.ratings.sense_compensation or PLAUSIBLE_DROP_V
    none = yield from visit(0.0, 0.0, "first")
    stray = mean_of(none, context.current)
    if not abs(stray) <= STRAY_SHARE * context.unit.ratings.current + STRAY_A:
        yield from leave()
        raise TrialStopped(
            f"{context.current} reads {format_quantity(stray, 'A', 3)} although the load is off: "
            "the sense leads look reversed, something else draws current, or the ammeter is wrong. "
            "The current is not raised, and no other trial either."
        )
    first = yield from visit(FIRST_FRACTION, FIRST_FRACTION * settings.current, "first")
    scale = settings.current * FIRST_FRACTION
    there = tuple(none.value)
    wrong = _not_following_at_first(settings, context, none, first)
    if wrong:
        yield from leave()
        raise TrialStopped(
            f"At {scale:.3g} A: {wrong} The current is not raised, and no other trial either: "
            "mend the leads first, or leave this trial out."
        )
    for channel in (c for c in (VOLTAGE, VOLTAGE_AT_LOAD) if c in there):
        drop = mean_of(none, channel) - mean_of(first, channel)
        at_full = drop / FIRST_FRACTION
        if not abs(at_full) <= allowed:
            yield from leave()
            raise TrialStopped(
                f"{channel} fell by {format_quantity(drop, 'V', 3)} at {scale:.3g} A, which "
                f"would be {format_quantity(at_full, 'V', 3)} at {settings.current:.3g} A, more "
                f"than {allowed:.3g} V: the sense leads look open, reversed or not connected. The "
                "current is not raised, and no other trial either: mend the leads first."
            )


def _not_following_at_first(
    settings: Settings, context: Context, none: Readings, first: Readings
) -> str:
    """Say that the unit does not follow its sense leads, from the first small current.

    A meter that begins at the load sees what the sense points fall by, and the residual beside it:
    whatever would stop the trial there stops it here.
    """
    first_place = both_places(context)[0] if is_moved(context) else VOLTAGE
    place = VOLTAGE if VOLTAGE in none.value else first_place
    if place not in none.value:
        return ""

    def change(channel: str) -> float:
        return mean_of(first, channel) - mean_of(none, channel)

    gap = None
    if VOLTAGE_AT_TERMINALS in none.value and place == VOLTAGE:
        gap = change(VOLTAGE_AT_TERMINALS) - change(VOLTAGE)
    return does_not_follow(
        context,
        settings.voltage,
        share=FIRST_FRACTION,
        change_at_sense=change(place),
        at_load=place == VOLTAGE_AT_LOAD,
        drop=expected_drop(context, FIRST_FRACTION * settings.current, gap),
    )


def figures(settings: Settings, evidence: Evidence) -> tuple[Figure, ...]:
    """Compute the sense error, the residual resistance and the lead drop.

    sense_error (V)
        The change of voltage at the load, from no load to full current, beyond the change at the
        sense points: what the sense leads don't see. Formula: |ΔV_load − ΔV_sense|. Components:
        scatter between rounds; gain, noise, resolution, stability, thermal EMF of both voltmeters
        (offsets cancel); what the ammeter is wrong by, times the slope; step to the stated
        current; with one meter the unit's drift between the places. Source: common practice, no
        source.
    sense_resistance (ohm, signed)
        The resistance between the sense points and the load that no sense lead covers. Formula:
        least-squares slope of ΔV_sense − ΔV_load against current. Components: scatter between
        rounds; stability and thermal EMF of both voltmeters over the time between visits; the
        ammeter's gain or shunt; with one meter the unit's drift between the places. Source:
        common practice, no source.
    sense_length (m, signed)
        The length of wire, there and back counted together, that has the resistance which the
        sense leads don't cover. Formula: sense_resistance · 58 m/(Ω·mm²) · cross-section, of the
        profile's or the load leads' cross-section, else 2.5 mm²; annealed copper at 20 °C.
        Components: as sense_resistance: scatter between rounds; both voltmeters; ammeter. Source:
        IEC 60028 (conductivity); the definition is common practice.
    lead_drop (V, signed)
        The drop in the load leads that remote sense makes up for; only where the unit's terminals
        are wired to a meter. Formula: ΔV_terminals − ΔV_sense at full current. Components: as
        sense_error: scatter between rounds; both voltmeters; ammeter; step to the stated current.
        Source: common practice, no source.

    sense_following: `sequencer.trials.following`, only where the terminals are wired, too.

    A unit that does not follow its sense leads gives no sense_error: both places fall alike then,
    and a small difference would look like good sense wiring.

    Raises
    ------
    FigureError
        When the current was never raised, or no level was visited twice.
    """
    data = visited(settings, evidence)
    context = evidence.context
    resistance = _resistance(settings, evidence, data)
    found = [resistance, _length(settings, context, resistance)]
    if data.drop is not None:
        found += [
            _lead_drop(settings, evidence, data, data.drop),
            *_following(settings, evidence, data.sense, data.drop),
        ]
    if not _not_following(settings, context, data.sense, data.drop):
        found.insert(0, _error(settings, evidence, data))
    return tuple(replace(one, notes=(*data.notes, *one.notes)) for one in found)


@dataclass(frozen=True, slots=True)
class Visited:
    """The mean differences from no load: at the sense points, of the load and terminals to them.

    `drift` is what one meter's two places add, empty where both were read together.
    """

    sense: LevelMeans
    load: LevelMeans
    gap: LevelMeans
    drop: LevelMeans | None
    drift: tuple[Component, ...]
    notes: tuple[str, ...]


def visited(settings: Settings, evidence: Evidence) -> Visited:
    """Return what the visits come to.

    Raises
    ------
    FigureError
        When the current was never raised, or no level was visited twice.
    """
    context, current = evidence.context, evidence.context.current
    points = evidence.points(part="round")
    if not evidence.points(part="first"):
        raise FigureError("The run ended before the sense check began.")
    if not points:
        raise FigureError(
            "The current was never raised: the run ended at the look at a small current before. "
            "Its last events say why."
        )
    moved = is_moved(context)
    places = [at_place(evidence, p) for p in (VOLTAGE, VOLTAGE_AT_LOAD)] if moved else [points]
    full = (context, settings.voltage, settings.current)
    missing = next((words for one in places if (words := not_held(one, *full))), "")
    if moved and not all(places):
        raise FigureError("The run ended before the leads of the meter were moved.")
    held = [held_points(one, *full) for one in places]
    drop = _gap(evidence, held[0], VOLTAGE_AT_TERMINALS) if has_terminals(context) else None
    sense = level_means(held[0], VOLTAGE, current)
    held_to = format_quantity(float(sense.di[-1]), "A", 4)
    notes = (f"{missing} This is of {held_to}, the most that it did.",) if missing else ()
    if not moved:
        gap = _gap(evidence, points=held[0], channel=VOLTAGE_AT_LOAD)
        load = level_means(held[0], VOLTAGE_AT_LOAD, current)
        return Visited(sense, load, gap, drop, (), notes)
    gap = gap_between(held[0], held[1], current)
    load = level_means(held[1], VOLTAGE_AT_LOAD, current)
    drift = (drift_between(held[0], held[1], gap),)
    return Visited(sense, load, gap, drop, drift, (*notes, ONE_METER))


ONE_METER = "With one meter: all currents at one place, then, its leads moved, all at the other."


def places(settings: Settings, context: Context) -> tuple[str, ...]:
    """Return where the leads of a moved meter have to go."""
    del settings
    return both_places(context) if is_moved(context) else (VOLTAGE,)


def lacks(settings: Settings, context: Context) -> dict[str, str]:
    """Say that the lead drop, and what is told by it, take the unit's terminals as well."""
    if has_terminals(context):
        return {}
    place = " in the sense points' place" if context.has(VOLTAGE_AT_TERMINALS) else ""
    return dict.fromkeys(("lead_drop", "sense_following"), f"{VOLTAGE_AT_TERMINALS}{place}")


def cannot(settings: Settings, evidence: Evidence) -> dict[str, str]:
    """Say that there is no sense error where the unit does not follow its sense leads."""
    data = visited(settings, evidence)
    why = _not_following(settings, evidence.context, data.sense, data.drop)
    return {"sense_error": why} if why else {}


def _not_following(
    settings: Settings, context: Context, sense: LevelMeans, drop: LevelMeans | None
) -> str:
    current = float(sense.di[-1])
    return does_not_follow(
        context,
        settings.voltage,
        share=current / settings.current,
        change_at_sense=float(sense.dv[-1]),
        drop=expected_drop(context, current, None if drop is None else float(drop.dv[-1])),
    )


def _gap(evidence: Evidence, points: tuple[Point, ...], channel: str) -> LevelMeans:
    """Return the mean differences from no load of a channel less the sense points.

    The two are taken off reading by reading, as they were read together: what the unit itself does
    meanwhile is common to both and goes.
    """
    both = tuple(point.with_difference(channel, VOLTAGE) for point in points)
    return level_means(both, difference_name(channel, VOLTAGE), evidence.context.current)


def _error(settings: Settings, evidence: Evidence, data: Visited) -> Figure:
    figure = _difference(
        settings, evidence, "sense_error", VOLTAGE_AT_LOAD, data.sense, data.gap, data.drift
    )
    measured = None if data.drop is None else float(data.drop.dv[-1])
    lost = expected_drop(evidence.context, settings.current, measured)
    unknown = not_told(evidence.context, settings.voltage, lost)
    return replace(figure, notes=(*figure.notes, unknown)) if unknown else figure


def _length(settings: Settings, context: Context, resistance: Figure) -> Figure:
    """Return the residual resistance as a length of copper."""
    leads = context.bench.wiring.load_leads
    area = settings.cross_section or (leads and leads.cross_section) or EQUIVALENT_AREA_M2
    metres = area / COPPER_OHM_M
    return make_figure(
        resistance.trial,
        "sense_length",
        resistance.value * metres,
        "m",
        scaled(resistance.budget, metres),
        reached=resistance.reached,
        notes=(
            f"Of copper with {format_quantity(area, 'm²')}, there and back together, at 20 °C.",
        ),
    )


def _lead_drop(settings: Settings, evidence: Evidence, data: Visited, drop: LevelMeans) -> Figure:
    """Return the load leads' drop, and say whether the unit may be asked to make up for it."""
    figure = _difference(settings, evidence, "lead_drop", VOLTAGE_AT_TERMINALS, data.sense, drop)
    allowed = evidence.context.unit.ratings.sense_compensation
    if allowed is None:
        note = "The unit document states no allowance for it (sense_compensation)."
    else:
        word = (
            "within"
            if figure.value + figure.expanded <= allowed
            else "more than"
            if figure.value - figure.expanded > allowed
            else "too near to tell whether it is within"
        )
        note = f"This is {word} the {format_quantity(allowed, 'V')} that the unit may make up for."
    return replace(figure, notes=(note,))


def _following(
    settings: Settings, evidence: Evidence, sense: LevelMeans, drop: LevelMeans
) -> tuple[Figure, ...]:
    """Return the part of the load leads' drop that the unit makes up for, where there is one."""
    context = evidence.context
    fall, lost = -float(sense.dv[-1]), float(drop.dv[-1])
    if not_told(context, settings.voltage, lost):
        return ()
    level = settings.voltage
    return (
        make_figure(
            evidence.trial,
            "sense_following",
            1.0 - fall / lost,
            "1",
            [
                of(
                    type_a(
                        "scatter of the sense points",
                        float(sense.u_dv[-1]),
                        sense.voltage.dof,
                        1.0 / lost,
                    ),
                    VOLTAGE,
                    "V",
                ),
                of(
                    type_a(
                        "scatter of the leads' drop",
                        float(drop.u_dv[-1]),
                        drop.voltage.dof,
                        fall / lost**2,
                    ),
                    difference_name(VOLTAGE_AT_TERMINALS, VOLTAGE),
                    "V",
                ),
                *scale_components(context.accuracy(VOLTAGE), fall, 1.0 / lost),
                *wander_components(
                    context.accuracy(VOLTAGE), level, lag_s=sense.lag_s, sensitivity=1.0 / lost
                ),
                *wander_components(
                    context.accuracy(VOLTAGE_AT_TERMINALS),
                    level,
                    lag_s=drop.lag_s,
                    sensitivity=abs(fall) / lost**2,
                ),
            ],
            reached=reached_by(sense),
            notes=(
                "What is missing to 1 is the unit's own output resistance and its sense inputs.",
            ),
        ),
    )


def _difference(
    settings: Settings,
    evidence: Evidence,
    name: str,
    channel: str,
    sense: LevelMeans,
    gap: LevelMeans,
    more: tuple[Component, ...] = (),
) -> Figure:
    """Return |change of a channel − change at the sense points| at the greatest current."""
    context = evidence.context
    step = step_to(gap, settings.current)
    difference = float(gap.dv[-1]) + step
    at_sense = float(sense.dv[-1])
    level = settings.voltage
    return make_figure(
        evidence.trial,
        name,
        abs(difference),
        "V",
        [
            of(
                type_a("scatter between rounds", float(gap.u_dv[-1]), gap.voltage.dof),
                difference_name(channel, VOLTAGE),
                "V",
            ),
            *scale_components(context.accuracy(channel), at_sense + difference),
            *scale_components(context.accuracy(VOLTAGE), at_sense),
            *slope_components(context, channel, level, gap, per_unit=1.0),
            *slope_components(context, VOLTAGE, level, gap, per_unit=1.0),
            *current_components(context, gap, step, doubt=step_doubt(gap, settings.current)),
            *more,
        ],
        reached=reached_by(gap),
    )


def _resistance(settings: Settings, evidence: Evidence, data: Visited) -> Figure:
    context, sense, gap = evidence.context, data.sense, data.gap
    line = gap.line
    full = float(gap.di[-1])
    return make_figure(
        evidence.trial,
        "sense_resistance",
        -line.slope,
        "ohm",
        [
            of(
                type_a("scatter between rounds", line.u_slope, line.dof),
                difference_name(VOLTAGE_AT_LOAD, VOLTAGE),
                "ohm",
            ),
            *slope_components(context, VOLTAGE, settings.voltage, sense, per_unit=1 / full),
            *slope_components(context, VOLTAGE_AT_LOAD, settings.voltage, gap, per_unit=1 / full),
            *scale_components(context.accuracy(context.current), line.slope),
            *scaled(list(data.drift), 1 / full),
        ],
        reached=reached_by(sense),
    )


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw the change from no load at both places against current."""
    data = visited(settings, evidence)
    lines = []
    for channel, means in ((VOLTAGE, data.sense), (VOLTAGE_AT_LOAD, data.load)):
        lines.append(
            Line(
                channel,
                tuple(map(float, means.di)),
                tuple(map(float, means.dv)),
                y_error=tuple(2 * float(u) for u in means.u_dv),
            )
        )
    gap = data.gap
    return (
        Chart(
            trial=evidence.trial,
            title="Sense check: what the sense leads don't cover",
            shows=(Shown("sense_error", "y"),),
            x_label="current",
            x_unit="A",
            y_label="change at the load less change at the sense points",
            y_unit="V",
            lines=(
                Line(
                    "measured, mean of rounds",
                    tuple(map(float, gap.di)),
                    tuple(map(float, np.abs(gap.dv))),
                    y_error=tuple(2 * float(u) for u in gap.u_dv),
                ),
            ),
            caption=f"Magnitude of the difference. {SCATTER_BARS}",
        ),
        Chart(
            trial=evidence.trial,
            title="Sense check: where the unit holds its voltage",
            x_label="current",
            x_unit="A",
            y_label="change from no load",
            y_unit="V",
            lines=tuple(lines),
            caption=(
                f"At {settings.voltage:.6g} V. Where both places fall alike, the sense leads reach "
                "the load; a gap that grows with current is resistance that they don't cover. "
                f"{SCATTER_BARS}"
            ),
        ),
    )


TRIAL = Trial(
    name="sense_check",
    summary="Whether the unit regulates where the load is.",
    settings=Settings,
    gives=("sense_error", "sense_resistance", "sense_length", "lead_drop", "sense_following"),
    needs=(VOLTAGE, VOLTAGE_AT_LOAD, "current."),
    procedure=procedure,
    figures=figures,
    charts=charts,
    cannot=cannot,
    lacks=lacks,
    places=places,
)
