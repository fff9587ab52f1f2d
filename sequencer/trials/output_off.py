"""Output off: what is left at the output, and for how long.

The output is switched off without load and read as it falls. When exactly the switch moved is not
seen (a hand moves it), but an exponential is known by its time constant alone: times and voltages
are counted along the fitted curve from the set voltage on.

discharge_time_constant (s)
    τ of V = end + (V₀ − end)·exp(−t/τ), fitted to all readings above the meter's floor. Components:
    scatter about the curve; the curve's own misfit (τ of the earlier against τ of the later half of
    the fall, rectangular); the clock's share is left out, it is parts in 10⁴ at most.
time_to_safe_voltage (s)
    Time along the curve from the set voltage to the stated low voltage. Components: those of τ, and
    the meter's error at the low voltage times τ over that voltage.
residual_voltage (V)
    Voltage on the curve at the stated time after switching off. Components: those of τ, times the
    slope there; the meter's error at that voltage.

Source: RC discharge, V₀·exp(−t/RC), to 36.8 % after RC; any textbook. A load or a crowbar makes it
faster.
"""

from dataclasses import dataclass
from math import exp, log, sqrt
from typing import ClassVar

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from sequencer.documents.quantities import PositiveSeconds, PositiveVolts
from sequencer.errors import FigureError
from sequencer.numerics.decay import Decay, fit_decay
from sequencer.requests import Apply, Array, Procedure, Read, Settle, SupplyState
from sequencer.results import Chart, Component, Figure, Line, Mark, Shown
from sequencer.trials.steps import (
    SETTLE_COUNT,
    SETTLE_LIMIT_S,
    leave,
    prepare,
    tolerances,
)
from sequencer.trials.trial import VOLTAGE, Context, Evidence, Trial
from sequencer.uncertainty.accuracy import absolute
from sequencer.uncertainty.combine import rectangular, type_a
from sequencer.uncertainty.figure import make_figure

LEAST_SEEN = 0.05
"""The fall has to be seen from at least a twentieth of the set voltage on."""

FLOOR_SHARE = 0.002
"""Below a five-hundredth of the first reading leakage and offset rule, not the discharge."""

LEAST_POINTS = 8


class Settings(BaseModel):
    """What a profile may say about switching the output off."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    reads_on: ClassVar[bool] = True

    voltage: PositiveVolts
    safe_voltage: PositiveVolts = 1.0
    after: PositiveSeconds = 2.0
    duration: PositiveSeconds = 15.0
    period: PositiveSeconds = 0.12
    readings: int = Field(default=4, ge=2, le=1000)


def procedure(settings: Settings, context: Context) -> Procedure:
    """Read the set voltage, switch the output off, and read on."""
    yield from prepare(settings.voltage)
    yield Settle(
        tolerance=tolerances(context, (VOLTAGE,), settings.voltage),
        window_s=SETTLE_COUNT * settings.period,
        period_s=settings.period,
        limit_s=SETTLE_LIMIT_S,
    )
    yield Read((VOLTAGE,), settings.readings, settings.period, {"part": "on"})
    yield Apply(SupplyState(output=False))
    count = round(settings.duration / settings.period)
    yield Read((VOLTAGE,), count, settings.period, {"part": "off"})
    yield from leave()


@dataclass(frozen=True, slots=True)
class Fall:
    """The fall as read, the curve through it, and how far τ of both halves differ (half of it)."""

    times: Array
    values: Array
    curve: Decay
    misfit_s: float


def fall(settings: Settings, evidence: Evidence) -> Fall:
    """Return the readings after switching off with the curve through them.

    Raises
    ------
    FigureError
        When the output was not switched off, or was gone before the first reading.
    """
    points = evidence.points(part="off")
    if not points:
        raise FigureError("The run ended before the output was switched off.")
    # The meter's window begins when it is asked.
    times, values = points[0].readings.asked[VOLTAGE], points[0].values(VOLTAGE)
    if values[0] < LEAST_SEEN * settings.voltage:
        raise FigureError(
            f"The first reading after switching off was {values[0]:.3g} V: the output fell faster "
            f"than it was read. It was below {LEAST_SEEN * settings.voltage:.3g} V by then."
        )
    curve = fit_decay(times, values)
    shown = np.abs(values - curve.end) > max(
        FLOOR_SHARE * abs(curve.swing), 5.0 * curve.residual_sd
    )
    count = int(np.argmin(shown)) if not shown.all() else shown.size
    half = count // 2
    misfit = 0.0
    if half >= LEAST_POINTS:
        early, late = (_slope(times[part], values[part] - curve.end) for part in halves(count))
        misfit = abs(early - late) / 2
    return Fall(times - times[0], values, curve, misfit)


def halves(count: int) -> tuple[slice, slice]:
    """Return the earlier and the later half of so many readings."""
    return slice(0, count // 2), slice(count // 2, count)


def _slope(times: Array, above: Array) -> float:
    """Return the time constant by a straight line through the logarithm."""
    return float(-1.0 / np.polyfit(times, np.log(np.abs(above)), 1, w=np.abs(above))[0])


def figures(settings: Settings, evidence: Evidence) -> tuple[Figure, ...]:
    """Compute time constant, time to the safe voltage and what is left after the stated time.

    Definitions, components and source: `sequencer.trials.output_off`.

    Raises
    ------
    FigureError
        When the fall was not measured or is no exponential approach.
    """
    found = fall(settings, evidence)
    curve, start = found.curve, settings.voltage
    reached = {"voltage": start}
    tau = [
        type_a("scatter about the curve", curve.u_time_constant_s, curve.dof),
        rectangular("earlier against later half of the fall", found.misfit_s),
    ]
    results = [
        make_figure(
            evidence.trial,
            "discharge_time_constant",
            curve.time_constant_s,
            "s",
            tau,
            reached=reached,
            notes=(f"Read from {found.values[0]:.3g} V on, without load.",),
        )
    ]
    way = log((start - curve.end) / max(settings.safe_voltage - curve.end, 1e-9))
    if settings.safe_voltage > curve.end + 2 * curve.u_end and settings.safe_voltage < start:
        per_volt = curve.time_constant_s / (settings.safe_voltage - curve.end)
        results.append(
            make_figure(
                evidence.trial,
                "time_to_safe_voltage",
                way * curve.time_constant_s,
                "s",
                [*_scaled(tau, way), *_meter(evidence, settings.safe_voltage, per_volt)],
                reached=reached,
                notes=(
                    f"From {start:.4g} V to {settings.safe_voltage:.3g} V along the fitted curve. "
                    "A capacitor elsewhere in the unit may hold more for longer.",
                ),
            )
        )
    left = exp(-settings.after / curve.time_constant_s)
    value = curve.end + (start - curve.end) * left
    slope = (start - curve.end) * left * settings.after / curve.time_constant_s**2
    results.append(
        make_figure(
            evidence.trial,
            "residual_voltage",
            value,
            "V",
            [
                *_scaled(tau, slope),
                type_a("end of the curve", curve.u_end, curve.dof, 1.0 - left),
                *_meter(evidence, value, 1.0),
            ],
            reached={**reached, "duration": settings.after},
            notes=(f"{settings.after:.3g} s after switching off, by the fitted curve.",),
        )
    )
    return tuple(results)


def _scaled(parts: list[Component], factor: float) -> list[Component]:
    return [
        type_a(part.name, part.u, part.dof, factor)
        if part.dof != float("inf")
        else rectangular(part.name, part.u * sqrt(3.0), factor)
        for part in parts
    ]


def _meter(evidence: Evidence, value: float, sensitivity: float) -> list[Component]:
    return absolute(evidence.context.accuracy(VOLTAGE), value, sensitivity)


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw the fall as read and the curve through it, counted from the set voltage on."""
    found = fall(settings, evidence)
    curve = found.curve
    before = curve.time_constant_s * log(
        max((settings.voltage - curve.end) / max(curve.swing, 1e-9), 1.0)
    )
    smooth = np.linspace(0.0, before + float(found.times[-1]), 200)
    fitted = curve.end + (settings.voltage - curve.end) * np.exp(-smooth / curve.time_constant_s)
    safe = tuple(
        Mark("safe voltage", "x", figure.value, "figure")
        for figure in figures
        if figure.name == "time_to_safe_voltage"
    )
    return (
        Chart(
            trial=evidence.trial,
            title="Output off: how the output falls",
            shows=(Shown("time_to_safe_voltage", "x"),),
            x_label="time after switching off",
            x_unit="s",
            y_label="voltage.sense",
            y_unit="V",
            lines=(
                Line(
                    "read",
                    tuple(map(float, found.times + before)),
                    tuple(map(float, found.values)),
                ),
                Line(
                    "fitted exponential",
                    tuple(map(float, smooth)),
                    tuple(map(float, fitted)),
                    style="line",
                    quantity="fit",
                ),
            ),
            marks=safe,
            caption="Without load. Time zero is where the fitted curve stands at the set voltage.",
        ),
    )


TRIAL = Trial(
    name="output_off",
    summary="What is left at the output after switching off, and for how long.",
    settings=Settings,
    gives=("discharge_time_constant", "time_to_safe_voltage", "residual_voltage"),
    needs=(VOLTAGE,),
    procedure=procedure,
    figures=figures,
    charts=charts,
)
