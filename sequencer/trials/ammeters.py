"""Meter cross-check: all ammeters of one current against each other, at each load step.

current_agreement (1)
    How far the ammeters of one current are apart at worst, counted in their own uncertainties: up
    to 1 they agree. Formula: greatest |E_n| = |I_a − I_b|/√(U_a² + U_b²) over all pairs and steps.
    Components: both meters of the worst pair, each its gain or shunt, offset, noise, resolution.
    Source: ISO/IEC 17043, annex B.
gain_of_current_load, gain_of_current_panel (1, signed)
    By which part the load's or the panel's ammeter reads too much against the reference (the
    shunt, else the load's). Formula: least-squares slope of I − I_ref against I_ref. Components:
    scatter about the line; gain or shunt value of both meters and their stability. Source:
    NIST/SEMATECH e-Handbook 4.1.4.1 (least squares); the definition is common practice.
offset_of_current_load, offset_of_current_panel (A, signed)
    What that ammeter reads too much at no current. Formula: the same line at I_ref = 0.
    Components: scatter about the line; offset of both meters, their resolution and stability.
    Source: as for the gain.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from sequencer.documents.quantities import format_quantity
from sequencer.errors import FigureError
from sequencer.numerics.line import fit_line
from sequencer.requests import Array
from sequencer.results import Chart, Component, Figure, Line, Mark
from sequencer.trials.trial import CURRENTS, Context, Evidence, Point
from sequencer.uncertainty.accuracy import mean_of, scale_components, wander_components
from sequencer.uncertainty.agreement import AGREED, agreement_number
from sequencer.uncertainty.combine import combine, scaled, type_a
from sequencer.uncertainty.figure import make_figure

COMPARED = CURRENTS[1:]
"""The first of the known channels is the reference wherever it is there."""

GIVES = (
    "current_agreement",
    *(f"{what}_of_{c.replace('.', '_')}" for c in COMPARED for what in ("gain", "offset")),
)

LEAST_VISITS = 4
"""A straight line through fewer visits says nothing about its own scatter."""


def channels_of(context: Context) -> tuple[str, ...]:
    """Return all ammeters of the output current that state an accuracy, the reference first."""
    return tuple(
        channel
        for channel in context.currents
        if channel == context.current or context.bench.channels[channel].has_accuracy
    )


@dataclass(frozen=True, slots=True)
class Compared:
    """The means of each ammeter in A: of every visit, and of all visits to one level.

    `counts` is how many readings each level's mean has, `lag_s` how long the trial took.
    """

    context: Context
    visits: dict[str, Array]
    levels: dict[str, Array]
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


def compared(evidence: Evidence) -> Compared | None:
    """Return the ammeters' means; None where fewer than two were read.

    Raises
    ------
    FigureError
        For too few visits, or a reading that is no number.
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
        counts=tuple(sum(point.values(there[0]).size for point in stay) for stay in stays),
        lag_s=points[-1].time(there[0]) - points[0].time(there[0]),
    )


def _read(points: Sequence[Point], channel: str) -> bool:
    return all(channel in point.readings.value for point in points)


def figures_of_ammeters(evidence: Evidence) -> tuple[Figure, ...]:
    """Return agreement, gain and offset of every further ammeter; none for a single one.

    Raises
    ------
    FigureError
        As `compared`.
    """
    data = compared(evidence)
    if data is None:
        return ()
    found = [_agreement(evidence, data)]
    reference, *others = data.visits
    for channel in others:
        found += _against(evidence, data, channel, reference)
    return tuple(found)


def _agreement(evidence: Evidence, data: Compared) -> Figure:
    pairs = data.apart()
    worst = max(pairs, key=lambda pair: float(np.max(np.abs(pairs[pair]))))
    level = int(np.argmax(np.abs(pairs[worst])))
    parts = [data.parts(channel, level) for channel in worst]
    spread = math.hypot(*(combine(part).expanded for part in parts))
    return make_figure(
        evidence.trial,
        "current_agreement",
        float(abs(pairs[worst][level])),
        "1",
        [one for part in parts for one in scaled(part, 1 / spread)],
        reached={"current_to": float(np.max(data.levels[worst[0]]))},
        notes=(_who(data, pairs, worst, level),),
    )


def _who(
    data: Compared, pairs: dict[tuple[str, str], Array], worst: tuple[str, str], level: int
) -> str:
    """Say in words whether the ammeters agree, and which one does not."""
    most = {pair: float(np.max(np.abs(values))) for pair, values in pairs.items()}
    names = ", ".join(data.levels)
    if most[worst] <= AGREED:
        return f"{names} agree within their uncertainties at every step."
    at = format_quantity(float(data.levels[worst[0]][level]), "A", 3)
    said = (
        f"Warning: {worst[0]} and {worst[1]} disagree by {most[worst]:.2g} times their uncertainty "
        f"(|E_n|, at {at})."
    )
    alone = [
        channel
        for channel in data.levels
        if all((value > AGREED) == (channel in pair) for pair, value in most.items())
    ]
    if len(data.levels) == 2:
        return f"{said} Which of the two is wrong can't be told from them alone."
    if len(alone) == 1:
        return f"{said} {alone[0]} is the odd one out: the others agree with each other."
    return f"{said} More than one of {names} disagrees."


def _against(
    evidence: Evidence, data: Compared, channel: str, reference: str
) -> tuple[Figure, Figure]:
    """Return gain and offset of an ammeter against the reference."""
    x = data.visits[reference]
    line = fit_line(x, data.visits[channel] - x)
    both = [evidence.context.accuracy(one) for one in (channel, reference)]
    full = float(np.max(np.abs(x)))
    reached = {"current_from": float(x.min()), "current_to": float(x.max())}
    name = channel.replace(".", "_")
    gain = [
        type_a("scatter about the line", line.u_slope, line.dof),
        *(part for meter in both for part in scale_components(meter, 1.0)),
        *(
            part
            for meter in both
            for part in wander_components(meter, full, lag_s=data.lag_s, sensitivity=1 / full)
        ),
    ]
    offset = [
        type_a("scatter about the line", line.u_intercept, line.dof),
        *(  # noise is in the scatter
            part for meter in both for part in mean_of(replace(meter, noise=0.0), 0.0, 1)
        ),
    ]
    note = f"Against {reference}."
    return (
        make_figure(
            evidence.trial, f"gain_of_{name}", line.slope, "1", gain, reached=reached, notes=(note,)
        ),
        make_figure(
            evidence.trial,
            f"offset_of_{name}",
            line.intercept,
            "A",
            offset,
            reached=reached,
            notes=(note,),
        ),
    )


def charts_of_ammeters(evidence: Evidence) -> tuple[Chart, ...]:
    """Draw E_n of each further ammeter against the reference over the current."""
    try:
        data = compared(evidence)
    except FigureError:
        return ()
    if data is None:
        return ()
    reference, *others = data.levels
    apart = data.apart()
    return (
        Chart(
            trial=evidence.trial,
            title="Load steps: do the ammeters agree?",
            x_label=reference,
            x_unit="A",
            y_label=f"E_n against {reference}",
            y_unit="1",
            lines=tuple(
                Line(
                    channel,
                    tuple(map(float, data.levels[reference])),
                    tuple(map(float, -apart[reference, channel])),
                )
                for channel in others
            ),
            marks=tuple(Mark("agree within", "y", edge, "guide") for edge in (-AGREED, AGREED)),
            caption=(
                "Difference of two ammeters over the root of the sum of their squared U: between "
                "−1 and 1 they agree (ISO/IEC 17043)."
            ),
        ),
    )
