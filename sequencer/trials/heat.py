"""Heat: how warm the heatsink gets at full current, and how fast.

dissipation (W)
    (voltage before the pass element − output) · current, at the end. The voltage before it is the
    unit document's typical one for the range (`unregulated`): taken as known within ± 10 %, as the
    line may be off by as much (rectangular). Components: that; both meters.
heatsink_rise (K)
    Heatsink less room in balance: the end of the exponential that the rise follows while warming.
    Components: scatter about the curve; what the curve leaves over, as the heatsink follows a
    changing room late (its standard deviation, taken as one error common to all readings); both
    thermometers' absolute accuracy.
heatsink_rise_per_watt (K/W)
    heatsink_rise over dissipation. Components: those of both.
heatsink_time_constant (s)
    τ of the exponential. Components: scatter; the whole rise against its later three quarters
    (rectangular), as a ladder of several heat capacities in a changing room is no single
    exponential.

Lumped thermal network, JEDEC JESD51-1; one time constant is common practice, no source. A rise that
has not come 80 % of its way gives none of these but the dissipation.
"""

from dataclasses import dataclass

import numpy as np
from pydantic import BaseModel, ConfigDict

from sequencer.documents.quantities import PositiveAmperes, PositiveSeconds, PositiveVolts
from sequencer.errors import FigureError
from sequencer.numerics.decay import Decay, fit_decay
from sequencer.requests import Apply, Array, LoadState, Procedure, Read, Settle
from sequencer.results import Chart, Figure, Line
from sequencer.trials.steps import (
    SETTLE_COUNT,
    SETTLE_LIMIT_S,
    leave,
    prepare,
    tolerances,
)
from sequencer.trials.trial import AMBIENT, HEATSINK, VOLTAGE, Context, Evidence, Point, Trial
from sequencer.uncertainty.accuracy import absolute
from sequencer.uncertainty.combine import normal, rectangular, scaled, type_a
from sequencer.uncertainty.figure import make_figure

RAW_SHARE = 0.1
"""The line may be 10 % off, and the voltage before the pass element with it (IEC 60038)."""

SKIPPED_S = 20.0
"""Junction and case warm within seconds and are left out of the heatsink's own curve."""


class Settings(BaseModel):
    """What a profile may say about heat."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    voltage: PositiveVolts
    current: PositiveAmperes
    duration: PositiveSeconds = 3600.0
    period: PositiveSeconds = 5.0


def procedure(settings: Settings, context: Context) -> Procedure:
    """Put the full current on and read both temperatures until they are in balance."""
    yield from prepare(settings.voltage)
    yield Apply(LoadState("current", settings.current, on=True))
    yield Settle(
        tolerance=tolerances(context, (VOLTAGE,), settings.voltage),
        window_s=SETTLE_COUNT * SETTLE_PERIOD_S,
        period_s=SETTLE_PERIOD_S,
        limit_s=SETTLE_LIMIT_S,
    )
    yield Read(
        (VOLTAGE, context.current, HEATSINK, AMBIENT),
        round(settings.duration / settings.period) + 1,
        settings.period,
        {"part": "warming"},
    )
    yield from leave()


SETTLE_PERIOD_S = 0.25
"""The output is settled within a second; the heatsink is what is waited for."""


@dataclass(frozen=True, slots=True)
class Warming:
    """The rise over the room against time, and the curve through it."""

    times: Array
    rise: Array
    curve: Decay
    misfit_s: float


def _point(evidence: Evidence) -> Point:
    points = evidence.points(part="warming")
    if not points:
        raise FigureError("The run ended before the unit was warm.")
    return points[0]


def warming(evidence: Evidence) -> Warming:
    """Return how the heatsink warmed.

    Raises
    ------
    FigureError
        When it was not measured long enough to see its end.
    """
    point = _point(evidence)
    times = point.times(HEATSINK)
    rise = point.values(HEATSINK) - point.values(AMBIENT)
    used = times >= times[0] + SKIPPED_S
    curve = fit_decay(times[used], rise[used])
    half = times[used].size // 2
    misfit = 0.0
    try:
        late = fit_decay(times[used][half // 2 :], rise[used][half // 2 :])
        misfit = abs(late.time_constant_s - curve.time_constant_s)
    except FigureError:
        misfit = curve.u_time_constant_s  # too little of the rise is left: as the fit says
    return Warming(times - times[0], rise, curve, misfit)


def figures(settings: Settings, evidence: Evidence) -> tuple[Figure, ...]:
    """Compute dissipation, the heatsink's rise, that per watt, and the time constant.

    Definitions, components and source: `sequencer.trials.heat`.

    Raises
    ------
    FigureError
        When the unit was never loaded.
    """
    results = []
    power = _dissipation(settings, evidence)
    if power is not None:
        results.append(power)
    try:
        found = warming(evidence)
    except FigureError:
        return tuple(results)
    reached = dict(power.reached) if power is not None else {"voltage": settings.voltage}
    context, curve = evidence.context, found.curve
    count = found.rise.size
    # An error common to all readings bends the curve by at most its share of the swing.
    common_s = 2.0 * curve.time_constant_s * curve.residual_sd / abs(curve.swing)
    budget = [
        type_a("scatter about the curve", curve.u_end / curve.widened, count - 3.0),
        normal("what the curve leaves over", curve.residual_sd),
        *absolute(context.accuracy(HEATSINK), curve.end),
        *absolute(context.accuracy(AMBIENT), 0.0),
    ]
    rise = make_figure(evidence.trial, "heatsink_rise", curve.end, "K", budget, reached=reached)
    results.append(rise)
    results.append(
        make_figure(
            evidence.trial,
            "heatsink_time_constant",
            curve.time_constant_s,
            "s",
            [
                type_a(
                    "scatter about the curve",
                    curve.u_time_constant_s / curve.widened,
                    count - 3.0,
                ),
                rectangular("what the curve leaves over", common_s),
                rectangular("no single exponential", found.misfit_s),
            ],
            reached=reached,
        )
    )
    if power is not None and power.value > 0:
        ratio = rise.value / power.value
        results.append(
            make_figure(
                evidence.trial,
                "heatsink_rise_per_watt",
                ratio,
                "K/W",
                [
                    *scaled(rise.budget, 1 / power.value),
                    *scaled(power.budget, ratio / power.value),
                ],
                reached=reached,
                notes=power.notes,
            )
        )
    return tuple(results)


def cannot(settings: Settings, evidence: Evidence) -> dict[str, str]:
    """Say which figures the warming doesn't give, and why."""
    found: dict[str, str] = {}
    if _dissipation(settings, evidence) is None:
        found |= dict.fromkeys(
            ("dissipation", "heatsink_rise_per_watt"),
            "The unit document says no voltage before the pass element (unregulated) for this "
            "range, so the power turned into heat is unknown.",
        )
    try:
        warming(evidence)
    except FigureError as error:
        names = ("heatsink_rise", "heatsink_time_constant", "heatsink_rise_per_watt")
        found |= dict.fromkeys(names, str(error))
    return found


def _dissipation(settings: Settings, evidence: Evidence) -> Figure | None:
    """Return the pass element's power over the last tenth; None where its input is unknown."""
    context, point = evidence.context, _point(evidence)
    raw = next(
        (
            one.unregulated
            for one in context.unit.ranges
            if settings.voltage <= one.voltage_to and one.unregulated is not None
        ),
        None,
    )
    if raw is None:
        return None
    last = max(point.values(VOLTAGE).size // 10, 1)
    volts = float(point.values(VOLTAGE)[-last:].mean())
    amps = float(point.values(context.current)[-last:].mean())
    return make_figure(
        evidence.trial,
        "dissipation",
        (raw - volts) * amps,
        "W",
        [
            rectangular("voltage before the pass element", RAW_SHARE * raw, amps),
            *absolute(context.accuracy(VOLTAGE), volts, amps),
            *absolute(context.accuracy(context.current), amps, raw - volts),
        ],
        reached={
            "voltage": volts,
            "current_to": amps,
            "duration": float(np.ptp(point.times(HEATSINK))),
        },
        notes=(f"With the typical {raw:.3g} V before the pass element, within ± 10 %.",),
    )


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw the rise over the room, and the curve through it."""
    try:
        found = warming(evidence)
    except FigureError:
        return ()  # said by `cannot`
    curve = found.curve
    smooth = np.linspace(SKIPPED_S, float(found.times[-1]), 200)
    fitted = curve.end + curve.swing * np.exp(-(smooth - SKIPPED_S) / curve.time_constant_s)
    return (
        Chart(
            trial=evidence.trial,
            title="Heat: the heatsink's rise over the room",
            x_label="time after the load was put on",
            x_unit="s",
            y_label="heatsink less room",
            y_unit="K",
            lines=(
                Line(
                    "temperature.heatsink less temperature.ambient",
                    tuple(map(float, found.times)),
                    tuple(map(float, found.rise)),
                    style="line",
                    quantity=HEATSINK,
                ),
                Line(
                    "fitted exponential",
                    tuple(map(float, smooth)),
                    tuple(map(float, fitted)),
                    style="line",
                    quantity="fit",
                ),
            ),
            caption=f"At {settings.voltage:.6g} V and {settings.current:.4g} A.",
        ),
    )


TRIAL = Trial(
    name="heat",
    summary="How warm the heatsink gets at full current, and how fast.",
    settings=Settings,
    gives=("dissipation", "heatsink_rise", "heatsink_time_constant", "heatsink_rise_per_watt"),
    needs=(VOLTAGE, "current.", HEATSINK, AMBIENT),
    procedure=procedure,
    figures=figures,
    charts=charts,
    cannot=cannot,
)
