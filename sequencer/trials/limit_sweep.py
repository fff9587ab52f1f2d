"""Limit sweep: where the current limit bites, and how softly.

The constant-voltage line is taken with the load in constant current, well below the limit. From
there on the load holds the voltage, as a constant-current load can't hold a point above the limit.
A search halves the steps around the corner until it is resolved; then all points are visited on
the way down and again on the way up (hysteresis, and drift cancels in the mean of both legs).
"""

from collections.abc import Generator
from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar

from pydantic import BaseModel, ConfigDict, Field

from sequencer.documents.figure_names import OF_THE_LIMIT
from sequencer.documents.quantities import PositiveAmperes, PositiveSeconds, PositiveVolts
from sequencer.errors import FigureError
from sequencer.numerics.limit_figures import Quantity
from sequencer.requests import LoadState, Procedure, Reply, Request
from sequencer.results import Chart, Figure, Line, Mark, Shown
from sequencer.trials.limit_beyond import beyond
from sequencer.trials.limit_budgets import absolute, relative
from sequencer.trials.limit_trace import REFERENCE_REGION, Sweep, traced
from sequencer.trials.promised import upper_promise
from sequencer.trials.steps import leave, mean_of, prepare, read_at, tolerances
from sequencer.trials.sweep_load import beside_sweep, with_resistors
from sequencer.trials.trial import VOLTAGE, Context, Evidence, Trial
from sequencer.uncertainty.figure import make_figure

LINE_FRACTIONS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8)
"""The constant-voltage line ends at 80 % of the rated current, by its definition; a dip between two
points would go unseen, hence so many."""

CURRENT_LINE = (0.75, 0.25)
"""The constant-current line spans 75 % down to 25 % of the set voltage, by its definition."""

START_ABOVE = 0.002
"""The search starts 0.2 % above the open voltage, where the load draws nothing or little."""

COARSE_PARTS = 8
"""Away from the corner neighbouring points lie within an eighth of the rated current."""

DEPARTURE_PARTS = 4
"""At the corner neighbouring points lie within a quarter of the onset's departure."""

SEARCH_POINTS = 48
"""A search that needs more points than this has found noise, not a corner."""

DEFAULT_DEPARTURE = 0.0005
"""Without a promised load regulation, 0.05 % of the setting counts as having left the line."""

LEAST_STEP_V = 0.001
"""Electronic loads set their voltage no finer than about a millivolt (common practice)."""

SEARCH_READINGS = 2


class Settings(BaseModel):
    """What a profile may say about a limit sweep."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    load_modes: ClassVar[tuple[str, ...]] = ("current", "voltage")

    voltage: PositiveVolts
    lowest_voltage: PositiveVolts = 1.0
    points: int = Field(default=9, ge=3, le=200)
    readings: int = Field(default=4, ge=2, le=1000)
    period: PositiveSeconds = 0.25
    resolution: PositiveAmperes = 0.005
    onset_departure: PositiveVolts | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """One point of the search: the load's level and what was measured there."""

    level: float
    current: float
    voltage: float


def _sweep(settings: Settings, context: Context) -> Sweep:
    return Sweep(
        settings.voltage,
        settings.lowest_voltage,
        departure(settings, context),
        settings.readings,
    )


def departure(settings: Settings, context: Context) -> float:
    """Return the departure in volts that counts as having left the constant-voltage line.

    The unit's promised load regulation: of several promises the one for the sweep's voltage (if
    any is) and the greatest current. A profile may ask for less, never for more.
    """
    promised = _promised(settings, context)
    asked = settings.onset_departure
    return promised if asked is None else min(asked, promised)


def _promised(settings: Settings, context: Context) -> float:
    found = upper_promise(context, {"load_regulation"}, settings.voltage, "current_to")
    return DEFAULT_DEPARTURE * settings.voltage if found is None else found


def procedure(settings: Settings, context: Context) -> Procedure:
    """Take the constant-voltage line, search the corner, then visit all points down and up."""
    yield from prepare(settings.voltage)
    route = yield from _search(settings, context)
    for leg, stops in (("down", route), ("up", tuple(reversed(route)))):
        for state, region in stops:
            yield from _visit(settings, context, state, leg, region, settings.readings)
    yield from leave()


Stop = tuple[LoadState, str]


def _with_references(stops: list[Stop], rated: float) -> list[Stop]:
    """Return the stops with a return to half the rated current before every few and at the end.

    The output drifts, mostly by the unit's own heat, by no little part of the departure that counts
    as onset.
    """
    reference: Stop = (LoadState("current", REFERENCE * rated, on=True), REFERENCE_REGION)
    found: list[Stop] = []
    for first in range(0, len(stops), REFERENCE_EVERY):
        found += [reference, *stops[first : first + REFERENCE_EVERY]]
    return [*found, reference]


REFERENCE = 0.5
"""Share of the rated current, on the constant-voltage line and far from the corner."""

REFERENCE_EVERY = 4
"""Heatsinks take a minute and more, four stops some ten seconds."""


def _visit(
    settings: Settings, context: Context, state: LoadState, leg: str, region: str, readings: int
) -> Generator[Request, Reply, Found]:
    """Go to one point and read it."""
    reply = yield from read_at(
        state,
        channels=(VOLTAGE, context.current),
        tolerance=tolerances(context, (VOLTAGE,), settings.voltage),
        readings=readings,
        period_s=settings.period,
        tag={"leg": leg, "region": region, "level": state.level},
    )
    return Found(state.level, mean_of(reply, context.current), mean_of(reply, VOLTAGE))


def _search(settings: Settings, context: Context) -> Generator[Request, Reply, tuple[Stop, ...]]:
    """Find the levels that resolve the corner and return the route of the way down."""
    rated = context.unit.ratings.current
    line: list[Stop] = [
        (LoadState("current", fraction * rated, on=fraction > 0.0), "voltage line")
        for fraction in LINE_FRACTIONS
    ]
    base = yield from _visit(settings, context, line[0][0], "search", "voltage line", 2)
    top = base.voltage * (1.0 + START_ABOVE)
    bottom = CURRENT_LINE[0] * settings.voltage
    found: list[Found] = []
    beside = beside_sweep(context, settings.voltage, settings.lowest_voltage)
    for level in (top, bottom):
        state = LoadState("voltage", level, on=True, resistors=beside)
        found.append((yield from _visit(settings, context, state, "search", "corner", 2)))
    while len(found) < SEARCH_POINTS:
        wanted = next_level(found, rated, settings.resolution, departure(settings, context))
        if wanted is None:
            break
        state = LoadState("voltage", wanted, on=True, resistors=beside)
        point = yield from _visit(settings, context, state, "search", "corner", SEARCH_READINGS)
        found = sorted([*found, point], key=lambda one: -one.level)
    corner: list[Stop] = [
        (LoadState("voltage", one.level, on=True), "corner")
        for one in found
        if one.current > LINE_FRACTIONS[-1] * rated and one.level != bottom
    ]
    upper, lower = (part * settings.voltage for part in CURRENT_LINE)
    step = (upper - lower) / (settings.points - 1)
    current_line: list[Stop] = [
        (LoadState("voltage", upper - n * step, on=True), "current line")
        for n in range(settings.points)
    ]
    lowest: Stop = (LoadState("voltage", settings.lowest_voltage, on=True), "lowest")
    route = (*_with_references([*line, *corner], rated), *current_line, lowest)
    return with_resistors(context, settings.voltage, beside, route)


def next_level(
    found: list[Found], rated: float, resolution: float, onset_departure: float
) -> float | None:
    """Return the load voltage to visit next, or None when the corner is resolved.

    `found` is in falling order of level. The widest gap counts, in units of what is allowed:
    an eighth of the rated current anywhere, and at the corner both the current's resolution and a
    quarter of the onset's departure.
    """
    worst = 1.0
    level: float | None = None
    for above, below in pairwise(found):
        if above.level - below.level < 2 * LEAST_STEP_V:
            continue
        current = abs(below.current - above.current)
        voltage = abs(above.voltage - below.voltage)
        coarse = current / (rated / COARSE_PARTS)
        corner = min(current / resolution, voltage / (onset_departure / DEPARTURE_PARTS))
        if max(coarse, corner) > worst:
            worst, level = max(coarse, corner), (above.level + below.level) / 2
    return level


JUDGED = ("limit_current", "knee_current", "knee_onset", "short_current")
"""The currents of the limit, which data sheets promise."""


def figures(settings: Settings, evidence: Evidence) -> tuple[Figure, ...]:
    """Compute limit current, knee, onset, sharpness, short current and hysteresis.

    limit_current (A)
        The current that the unit holds in limiting. Formula: the constant-current line (least
        squares of I against V over 25 to 75 % of the set voltage) at half the set voltage, at the
        time of the turn between both ways: what time alone moves is taken off. Components: scatter
        about the curve; difference between both ways, where it is beyond chance (hysteresis, and
        drift where its pace isn't known); pace of the limit's drift; the ammeter's gain or shunt,
        offset, resolution, stability. Source: common practice, no source; fit in
        `sequencer.numerics.knee`, pace in `sequencer.numerics.pace`.
    knee_current (A)
        Where constant voltage gives way to constant current. Formula: the crossing of the
        constant-voltage line (no load to 80 % of the rated current) and the constant-current
        line. Components: as limit_current: scatter about the curve; difference between both ways;
        pace of the limit's drift; ammeter. Source: common practice, no source.
    knee_onset (A)
        The greatest current at which the output is still within the stated departure (the
        promised load regulation) of its constant-voltage line. Formula: greatest I with
        |V(I) − line(I)| ≤ departure. Components: as limit_current: scatter about the curve;
        difference between both ways; pace of the limit's drift; ammeter. Source: common practice,
        no source.
    knee_sharpness (1)
        How softly the limit sets in: 1 is a sharp corner. Formula: knee_onset/knee_current.
        Components: scatter about the curve; difference between both ways; pace of the limit's
        drift; the ammeter's resolution, offset, stability over a sweep. Its gain cancels. Source:
        common practice, no source.
    short_current (A)
        The limited current with nearly nothing at the load. Formula: the constant-current line at
        the lowest load voltage. Components: as limit_current: scatter about the curve; difference
        between both ways; pace of the limit's drift; ammeter. Source: common practice, no source.
    limit_change (A, signed)
        How the limit runs from knee to short. Formula: short_current − knee_current. Components:
        scatter about the curve; pace of the limit's drift; the ammeter's gain on the difference
        alone, its stability over a sweep, resolution. Its offset cancels. Source: common practice,
        no source.
    foldback_ratio (1)
        Below 1 the limit folds back. Formula: short_current/knee_current. Components: as
        knee_sharpness: scatter about the curve; difference between both ways; pace of the limit's
        drift; the ammeter's resolution and offset. Source: common practice, no source.
    limit_hysteresis (A, signed)
        How much the limit differs between the way down in voltage and the way back. Formula:
        I(back) − I(down) at half the set voltage, at no time between both: a line through the
        differences of all levels against the time between the visits tells what the unit's
        warming does from hysteresis. Components: scatter about the curve, which is here that
        line; the ammeter's stability over a sweep, gain on the difference, resolution. Source:
        common practice, no source.

    Raises
    ------
    FigureError
        When too few points were measured for any of them.
    """
    data = traced(_sweep(settings, evidence.context), evidence)
    reached = {
        "voltage": float(max(data.down[1].max(), data.up[1].max(initial=0.0))),
        "current_from": float(data.down[0].min()),
        "current_to": float(max(data.down[0].max(), data.up[0].max(initial=0.0))),
        "load_voltage": float(data.down[1].min()),
    }
    notes = data.trace.notes
    if not data.legs:
        notes = (*notes, "Without the way back, drift and hysteresis are unknown.")
    results = []
    for name in JUDGED:
        quantity: Quantity | None = getattr(data.trace, name)
        if quantity is not None:
            budget = absolute(evidence.context, data, name, quantity)
            results.append(
                make_figure(
                    evidence.trial, name, quantity.value, "A", budget, reached=reached, notes=notes
                )
            )
    results += relative(evidence, data, reached)[0]
    if not results:
        reasons = dict.fromkeys(data.trace.cannot.values())
        raise FigureError("No figure of the current limit: " + " ".join(reasons))
    return tuple(results)


def cannot(settings: Settings, evidence: Evidence) -> dict[str, str]:
    """Say which figures the curve doesn't give, and why."""
    data = traced(_sweep(settings, evidence.context), evidence)
    return dict(data.trace.cannot) | relative(evidence, data, {})[1]


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw the whole characteristic, and its corner magnified."""
    data = traced(_sweep(settings, evidence.context), evidence)
    marks = tuple(
        Mark(label, "x", figure.value, "figure")
        for name, label in (("knee_current", "knee"), ("knee_onset", "onset"))
        for figure in figures
        if figure.name == name
    )
    lines = tuple(
        Line(label, tuple(map(float, leg[0])), tuple(map(float, leg[1])))
        for label, leg in (("way down", data.down), ("way back", data.up))
        if leg[0].size
    )
    whole = Chart(
        trial=evidence.trial,
        title="Limit sweep: output characteristic",
        shows=tuple(Shown(name, "x") for name in JUDGED),
        x_label="current",
        x_unit="A",
        y_label="voltage.sense",
        y_unit="V",
        lines=lines,
        marks=marks,
        caption=f"Set to {settings.voltage:.6g} V with the current limit fully up.",
    )
    line = data.trace.constant_voltage
    if line is None:
        return (whole,)
    depth = CORNER_DEPTH * departure(settings, evidence.context)
    corner = tuple(
        Line(label, tuple(map(float, leg[0][near])), tuple(map(float, gap[near])))
        for label, leg in (("way down", data.down), ("way back", data.up))
        if leg[0].size
        for gap in (leg[1] - line.intercept - line.slope * leg[0],)
        for near in (gap > -depth,)
    )
    return (
        whole,
        Chart(
            trial=evidence.trial,
            title="Limit sweep: the corner",
            x_label="current",
            x_unit="A",
            y_label="departure from the constant-voltage line",
            y_unit="V",
            lines=corner,
            marks=(
                *marks,
                Mark("onset's departure", "y", -departure(settings, evidence.context), "guide"),
            ),
            caption="How softly the limit bites.",
        ),
    )


CORNER_DEPTH = 5.0
"""The magnified corner reaches five times as deep as the departure that counts as onset."""


TRIAL = Trial(
    name="limit_sweep",
    summary="Where the current limit bites, and how softly.",
    settings=Settings,
    gives=OF_THE_LIMIT,
    needs=(VOLTAGE, "current."),
    procedure=procedure,
    figures=figures,
    charts=charts,
    cannot=cannot,
    beyond=beyond,
)
