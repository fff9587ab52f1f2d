"""Heat: how warm the heatsink gets at full current, and how fast.

dissipation (W)
    What the pass element turns into heat, at the end. The voltage before it is the unit document's
    typical one for the range (`unregulated`): taken as known within ± 11.3 %, as the line may be
    off by 10 % and drops and sag don't shrink with it (rectangular). Formula: (voltage before the
    pass element − output) · current. Components: voltage before the pass element; both meters.
heatsink_rise (K)
    Heatsink above room in balance. Formula: the end of the exponential that the heatsink
    approaches, T = room as followed + end·(1 − a·exp(−t/τ)), the room followed with the same time
    constant. Components: scatter about the curve; what the curve leaves over beside scatter, taken
    as one error common to all readings; the line's wander meanwhile, by what it makes of the
    voltage that the pass element drops, carried through the fit; both thermometers' absolute
    accuracy.
heatsink_rise_per_watt (K/W)
    heatsink_rise over dissipation, averaged over where that may be: the reciprocal of an unsure
    power is skewed. Formula: rise/P · ln((1 + s)/(1 − s))/2s, s the share by which the power P may
    be off. Components: those of the rise; the voltage before the pass element, as far as
    it takes the ratio upwards; both meters.
heatsink_time_constant (s)
    How fast the heatsink warms. Formula: τ of that exponential. Components: scatter about the
    curve; what the curve leaves over; the line's wander; no single exponential, which is the whole
    rise against its later three quarters where these differ by more than
    a wandering line makes of them (rectangular).

Lumped thermal network, JEDEC JESD51-1; one time constant is common practice, no source. A rise that
has not come 80 % of its way gives none of these but the dissipation.
"""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from math import hypot, log
from typing import ClassVar

import numpy as np
from pydantic import BaseModel, ConfigDict

from sequencer.documents.quantities import PositiveAmperes, PositiveSeconds, PositiveVolts, Ratio
from sequencer.errors import FigureError
from sequencer.numerics.decay import Decay, Sway, fit_decay, followed, sway
from sequencer.requests import Array, Procedure, Read, Settle
from sequencer.results import Chart, Figure, Line
from sequencer.trials.parts import of
from sequencer.trials.steps import (
    SETTLE_COUNT,
    SETTLE_LIMIT_S,
    full_load,
    leave,
    prepare,
    tolerances,
)
from sequencer.trials.trial import AMBIENT, HEATSINK, VOLTAGE, Context, Evidence, Point, Trial
from sequencer.uncertainty.accuracy import absolute
from sequencer.uncertainty.combine import (
    COVERAGE_PROBABILITY,
    normal,
    rectangular,
    scaled,
    type_a,
)
from sequencer.uncertainty.figure import make_figure

EMF_SHARE = 1.13
"""What the winding gives over what a bridge and a sagging reservoir leave: 1.15 of 24 V, 1.11 of
38 V (common practice, no source).
"""

RAW_SHARE = 0.1 * EMF_SHARE
"""The line may be 10 % off (IEC 60038), the winding with it; drops and sag stay the same."""

LEVERAGE = 3.0
"""Where the voltage before the pass element is unknown a third of it is taken to drop there."""

WANDER_S = 900.0
"""A line that nobody regulates wanders within a quarter of an hour (common practice, no source)."""

SURE = 3.0
"""So many standard deviations are not the line's."""

SKIPPED_S = 20.0
"""Junction and case warm within seconds and are left out of the heatsink's own curve."""


LINE_WANDER = 0.006
"""Of a line that nobody regulates, over its voltage (common practice, no source)."""


class Settings(BaseModel):
    """What a profile may say about heat.

    `line_wander` is the standard deviation of the line's voltage within the hour, over its mean:
    0 behind a line source.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    by_resistors: ClassVar[bool] = True

    voltage: PositiveVolts
    current: PositiveAmperes
    duration: PositiveSeconds = 3600.0
    period: PositiveSeconds = 5.0
    line_wander: Ratio = LINE_WANDER


def procedure(settings: Settings, context: Context) -> Procedure:
    """Put the full current on and read both temperatures until they are in balance."""
    yield from prepare(settings.voltage)
    yield from full_load(context, settings.voltage, settings.current, {"part": "trim"})
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


Reached = Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Warming:
    """The rise over the room against time, the curve through it, and τ of its later part.

    `sway` is what power that wanders makes of them.
    """

    times: Array
    rise: Array
    curve: Decay
    late_s: float | None
    fitted: Array
    sway: Sway


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
    heatsink, room = point.values(HEATSINK), point.values(AMBIENT)
    used = times >= times[0] + SKIPPED_S
    curve = fit_decay(times[used], heatsink[used], follows=room[used])
    late = times >= times[used][0] + np.ptp(times[used]) / 4
    late_s = None
    with suppress(FigureError):  # too little of the rise is left there
        late_s = fit_decay(times[late], heatsink[late], follows=room[late]).time_constant_s
    tau = curve.time_constant_s
    since = times[used] - times[used][0]
    fitted = followed(since, room[used], tau) + curve.end + curve.swing * np.exp(-since / tau)
    return Warming(
        times=times - times[0],
        rise=heatsink - room,
        curve=curve,
        late_s=late_s,
        fitted=fitted - room[used],
        sway=sway(times, tau, used=used, later=late, every_s=WANDER_S),
    )


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
    reached: Reached = power.reached if power is not None else {"voltage": settings.voltage}
    results.append(_rise(settings, evidence, found, reached))
    results.append(_time_constant(settings, evidence, found, reached))
    if power is not None:
        ratio = _per_watt(settings, evidence, results[-2], power)
        if ratio is not None:
            results.append(ratio)
    return tuple(results)


def _line_share(settings: Settings, evidence: Evidence) -> float:
    """Return how far the line's wander moves the power, over the power (standard deviation)."""
    raw = _before_pass_element(settings, evidence.context)
    leverage = LEVERAGE if raw is None else raw / max(raw - settings.voltage, TINY_V)
    return settings.line_wander * EMF_SHARE * leverage


TINY_V = 1e-3


def _rise(settings: Settings, evidence: Evidence, found: Warming, reached: Reached) -> Figure:
    context, curve = evidence.context, found.curve
    line = _line_share(settings, evidence)
    return make_figure(
        evidence.trial,
        "heatsink_rise",
        curve.end,
        "K",
        [
            of(
                type_a("scatter about the curve", curve.u_end / curve.widened, found.rise.size - 3),
                HEATSINK,
                "K",
            ),
            of(normal("what the curve leaves over", curve.slow_sd), HEATSINK, "K"),
            replace(normal("the line's wander", found.sway.end * line, curve.end), unit="1"),
            # Noise is in the scatter, which all readings share.
            *absolute(replace(context.accuracy(HEATSINK), noise=0.0), curve.end),
            *absolute(replace(context.accuracy(AMBIENT), noise=0.0), 0.0),
        ],
        reached=reached,
    )


def _time_constant(
    settings: Settings, evidence: Evidence, found: Warming, reached: Reached
) -> Figure:
    curve, by_line = found.curve, found.sway
    tau = curve.time_constant_s
    line = _line_share(settings, evidence)
    # An error common to all readings bends the curve by at most its share of the swing.
    common_s = 2.0 * tau * curve.slow_sd / abs(curve.swing)
    off = 0.0 if found.late_s is None else abs(found.late_s - tau)
    scatter = curve.u_time_constant_s / curve.widened
    # An earlier begin holds τ by as much as it does against the line.
    worse = by_line.later / by_line.time_constant
    expected = hypot(by_line.later * line * tau, worse * hypot(scatter, common_s))
    return make_figure(
        evidence.trial,
        "heatsink_time_constant",
        tau,
        "s",
        [
            of(type_a("scatter about the curve", scatter, found.rise.size - 3.0), HEATSINK, "s"),
            of(rectangular("what the curve leaves over", common_s), HEATSINK, "s"),
            replace(normal("the line's wander", by_line.time_constant * line, tau), unit="1"),
            of(
                rectangular("no single exponential", off if off > SURE * expected else 0.0),
                HEATSINK,
            ),
        ],
        reached=reached,
    )


def _per_watt(settings: Settings, evidence: Evidence, rise: Figure, power: Figure) -> Figure | None:
    """Return rise over power; None where the power may be next to nothing.

    With the power rectangular in P ± w the mean of 1/P is ln((P + w)/(P − w))/2w. All of what is
    beyond U then lies above: 1/P at the 4.55 % of the least powers.
    """
    raw = _before_pass_element(settings, evidence.context)
    if raw is None or power.value <= 0.0:
        return None
    share = RAW_SHARE * raw * power.reached["current_to"] / power.value
    if share > MOST_UNSURE:
        return None
    mean = log((1 + share) / (1 - share)) / (2 * share)
    highest = 1 / (1 - share * (2 * COVERAGE_PROBABILITY - 1))
    per_watt = rise.value / power.value
    meters = [part for part in power.budget if part.name != BEFORE]
    return make_figure(
        evidence.trial,
        "heatsink_rise_per_watt",
        per_watt * mean,
        "K/W",
        [
            *scaled(rise.budget, mean / power.value),
            replace(
                rectangular(BEFORE, (highest - mean) / COVERAGE_PROBABILITY, per_watt), unit="1"
            ),
            *scaled(meters, per_watt / power.value),
        ],
        reached=power.reached,
        notes=power.notes,
    )


MOST_UNSURE = 0.8
"""A power that may be a fifth of what it seems tells nothing about the heatsink."""


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


BEFORE = "voltage before the pass element"


def _before_pass_element(settings: Settings, context: Context) -> float | None:
    """Return the unit document's typical voltage before the pass element, V."""
    return next(
        (
            one.unregulated
            for one in context.unit.ranges
            if settings.voltage <= one.voltage_to and one.unregulated is not None
        ),
        None,
    )


def _dissipation(settings: Settings, evidence: Evidence) -> Figure | None:
    """Return the pass element's power over the last tenth; None where its input is unknown."""
    context, point = evidence.context, _point(evidence)
    raw = _before_pass_element(settings, context)
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
            replace(rectangular(BEFORE, RAW_SHARE * raw, amps), unit="V"),
            *absolute(context.accuracy(VOLTAGE), volts, amps),
            *absolute(context.accuracy(context.current), amps, raw - volts),
        ],
        reached={
            "voltage": volts,
            "current_to": amps,
            "duration": float(np.ptp(point.times(HEATSINK))),
        },
        notes=(f"With the typical {raw:.3g} V before the pass element, within ± {RAW_SHARE:.1%}.",),
    )


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw the rise over the room, and the curve through it."""
    try:
        found = warming(evidence)
    except FigureError:
        return ()  # said by `cannot`
    used = found.times >= SKIPPED_S
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
                    "fitted exponential, following the room",
                    tuple(map(float, found.times[used])),
                    tuple(map(float, found.fitted)),
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
