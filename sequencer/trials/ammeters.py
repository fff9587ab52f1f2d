"""Meter cross-check: all ammeters of one current against each other, at each load step.

current_agreement (1)
    How far the ammeters of one current are apart at worst, counted in their own uncertainties: up
    to 1 they agree. Formula: greatest |E_n| = |I_a − I_b|/√(U_a² + U_b²) over all pairs and steps,
    each U of the meter's gain or shunt, offset, noise, resolution; less what noise and rounding
    lift the greatest of that pair by on average, where the true ones stand on the straight line of
    gain and offset (as seen, where they don't). U is what another comparison of the same meters
    would differ by. Components: scatter of the difference and each meter's resolution, as far as
    they move the greatest; lift by noise (three tenths of what was taken off).
    Source: ISO/IEC 17043, annex B; the lift by order statistics (David and Nagaraja, 5.1).
gain_of_current_load, gain_of_current_panel (1, signed)
    By which part the load's or the panel's ammeter reads too much, as the reference tells (the
    shunt, else the load's). Formula: least-squares slope of I − I_ref against I_ref. Components:
    scatter between visits; resolution of both, carried through the line; gain or shunt value of the
    reference meter, its stability; thermal EMF. What the ammeter itself promises is none: that
    is what is measured. Source: NIST/SEMATECH e-Handbook 4.1.4.1 (least squares); the definition is
    common practice.
offset_of_current_load, offset_of_current_panel (A, signed)
    What that ammeter reads too much at no current. Formula: the same line at I_ref = 0.
    Components: scatter between visits; resolution of both, carried through the line; offset of the
    reference meter, its stability; thermal EMF, slow change. Source: as for the gain.

An ammeter that shows exactly nothing without load may stand at its stop: these visits are left out
of its line.
"""

import math
from dataclasses import replace

import numpy as np

from sequencer.documents.quantities import format_quantity
from sequencer.errors import FigureError
from sequencer.requests import Array
from sequencer.results import Chart, Figure, Line, Mark
from sequencer.trials.ammeter_means import Compared, channels_of, compared
from sequencer.trials.parts import of
from sequencer.trials.trial import CURRENTS, Context, Evidence, difference_name
from sequencer.uncertainty.accuracy import (
    STABILITY_TIME_S,
    THERMAL_EMF_TIME_S,
    mean_of,
    scale_components,
    wander_components,
)
from sequencer.uncertainty.agreement import AGREED
from sequencer.uncertainty.combine import normal, rectangular, type_a
from sequencer.uncertainty.figure import make_figure
from sequencer.uncertainty.maximum import greatest_departure

__all__ = ["GIVES", "channels_of", "charts_of_ammeters", "compared", "figures_of_ammeters"]

COMPARED = CURRENTS[1:]
"""The first of the known channels is the reference wherever it is there."""

GIVES = (
    "current_agreement",
    *(f"{what}_of_{c.replace('.', '_')}" for c in COMPARED for what in ("gain", "offset")),
)


def lacks(context: Context) -> dict[str, str]:
    """Say that one ammeter alone can't be compared; a gain is named with its ammeter only."""
    if len(context.currents) > 1:
        return {}
    blind = ("current.load",) if context.bench.load.resistors else ()
    others = [one for one in CURRENTS if not context.has(one) and one not in blind]
    which = " or ".join(others) or "one that answers over a link"
    return {"current_agreement": f"a second ammeter on the output: {which}"}


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
    per_ampere = 1.0 / np.hypot(data.expanded(worst[0]), data.expanded(worst[1]))
    scatter = data.scatter(*worst) * per_ampere
    # Two displays that show each the same all the time scatter by nothing, whatever is stated.
    steps = data.unseen_steps if scatter.any() else data.steps
    rounding = data.rounding(*worst, steps)
    each = np.hypot(scatter, rounding * per_ampere)
    greatest = greatest_departure(
        pairs[worst],
        each if each.all() else 0.0,
        model=data.straight(*worst) * per_ampere,
        fitted=2,
    )
    level = greatest.index
    share = float(greatest.u / each[level]) if each[level] else 0.0
    return make_figure(
        evidence.trial,
        "current_agreement",
        greatest.value,
        "1",
        [
            of(
                type_a("scatter of the difference", share * float(scatter[level]), data.dof),
                difference_name(*worst),
                "1",
            ),
            *(
                part
                for channel in worst
                for part in steps(channel, level, share * float(per_ampere[level]))
            ),
            rectangular("lift by noise", greatest.u_bias * math.sqrt(3.0)),
        ],
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
    """Return gain and offset of an ammeter as the reference tells them."""
    line, steps, left_out = data.line(channel, reference)
    known = evidence.context.accuracy(reference)
    full = float(np.max(np.abs(data.visits[reference])))
    reached = {
        "current_from": float(data.visits[reference].min()),
        "current_to": float(data.visits[reference].max()),
    }
    name = channel.replace(".", "_")
    pair = difference_name(channel, reference)
    per_full = 1.0 / full
    # A whole day: how far the reference's gain is from what was calibrated. An offset that stays
    # is nothing to a slope; what it does within the trial is.
    gain = [
        of(type_a("scatter between visits", line.u_slope, line.dof), pair, "1"),
        of(normal("resolution of both", steps.u_slope), pair, "1"),
        *scale_components(known, 1.0),
        *wander_components(
            replace(known, stability_offset=0.0),
            full,
            lag_s=STABILITY_TIME_S,
            sensitivity=per_full,
        ),
        *wander_components(
            replace(known, stability_gain=0.0, thermal_emf=0.0),
            full,
            lag_s=data.lag_s,
            sensitivity=per_full,
        ),
    ]
    offset = [
        of(type_a("scatter between visits", line.u_intercept, line.dof), pair, "A"),
        of(normal("resolution of both", steps.u_intercept), pair, "A"),
        # Noise and resolution are in the scatter and the steps, the EMF that the current makes is
        # in the slope.
        *mean_of(replace(known, noise=0.0, resolution=0.0, thermal_emf=0.0), 0.0, 1),
        of(
            rectangular(
                "thermal EMF, slow change",
                known.thermal_emf * min(data.lag_s / THERMAL_EMF_TIME_S, 1.0),
                known.per_volt,
            ),
            reference,
            "V",
        ),
    ]
    notes = (
        f"As {reference} tells.",
        *(("Without load it shows nothing, as at a stop: left out.",) if left_out else ()),
    )
    return (
        make_figure(
            evidence.trial, f"gain_of_{name}", line.slope, "1", gain, reached=reached, notes=notes
        ),
        make_figure(
            evidence.trial,
            f"offset_of_{name}",
            line.intercept,
            "A",
            offset,
            reached=reached,
            notes=notes,
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
