"""Output off: what is left at the output, and for how long.

The output is switched off without load and read as it falls. When exactly the switch moved is not
seen (a hand moves it), but an exponential is known by its time constant alone: times and voltages
are counted along the fitted curve from the set voltage on.

discharge_time_constant (s)
    How fast the output falls. Formula: τ of V = end + (V₀ − end)·exp(−t/τ), fitted to all readings
    above the meter's floor. Components:
    scatter about the curve; the curve's own misfit, where τ of the earlier and of the later half of
    the fall differ by more than scatter makes of them (rectangular); the clock's share is left out,
    it is parts in 10⁴ at most. Offset and gain of the meter change no τ.
time_to_safe_voltage (s)
    Time along the curve from the set voltage to the stated low voltage. Formula:
    τ·ln((V_set − end)/(V_low − end)). Components: scatter about the curve, by what it makes of end
    and τ together; the misfit of τ; the meter's offset, its stability and thermal EMF, at the low
    voltage.
residual_voltage (V)
    Voltage on the curve at the stated time after switching off. Formula:
    end + (V_set − end)·exp(−t/τ). Components: as for the time.

Source: RC discharge, V₀·exp(−t/RC), to 36.8 % after RC; any textbook. A load or a crowbar makes it
faster.
"""

from dataclasses import dataclass, replace
from math import exp, hypot, log, sqrt
from typing import ClassVar

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from sequencer.documents.quantities import PositiveSeconds, PositiveVolts, format_quantity
from sequencer.errors import FigureError
from sequencer.numerics.decay import Decay, fit_decay
from sequencer.requests import Apply, Array, Procedure, Read, Settle, SupplyState
from sequencer.results import Chart, Component, Figure, Line, Mark, Shown
from sequencer.trials.parts import of
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
    count = max(round(settings.duration / settings.period), LEAST_POINTS)
    yield Read((VOLTAGE,), count, settings.period, {"part": "off"})
    yield from leave()


@dataclass(frozen=True, slots=True)
class Fall:
    """The fall as read, the curve through it, and how far τ of both halves differ (half of it).

    `alike`: what neighbouring readings depart by from the curve is alike, more than chance makes
    it; else each reading tells on its own.
    """

    times: Array
    values: Array
    curve: Decay
    misfit_s: float
    alike: bool


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
    misfit = 0.0
    if count // 2 >= LEAST_POINTS:
        (early, u_early), (late, u_late) = (
            _slope(times[part], values[part] - curve.end, curve.residual_sd)
            for part in halves(count)
        )
        if abs(early - late) > SURE * hypot(u_early, u_late):
            misfit = abs(early - late) / 2
    past = times - times[0]
    rest = values - curve.end - curve.swing * np.exp(-past / curve.time_constant_s)
    lag_1 = float(rest[1:] @ rest[:-1]) / max(float(rest @ rest), TINY)
    return Fall(past, values, curve, misfit, lag_1 > MOST_BY_CHANCE / sqrt(rest.size))


TINY = 1e-300

MOST_BY_CHANCE = 2.0
"""The lag-1 correlation of n independent values is seldom above 2/√n (G. E. P. Box, G. M. Jenkins,
Time Series Analysis, 2.1.6)."""

SURE = 3.0
"""Two halves whose τ differ by less than three standard deviations fall alike."""


def halves(count: int) -> tuple[slice, slice]:
    """Return the earlier and the later half of so many readings."""
    return slice(0, count // 2), slice(count // 2, count)


def _slope(times: Array, above: Array, sd: float) -> tuple[float, float]:
    """Return the time constant by a straight line through the logarithm, and its uncertainty.

    A value's logarithm scatters by `sd` over the value, so the value is its weight.
    """
    weight = np.abs(above)
    rate = -float(np.polyfit(times, np.log(weight), 1, w=weight)[0])
    middle = float(weight**2 @ times / (weight @ weight))
    u_rate = sd / sqrt(float(weight**2 @ (times - middle) ** 2))
    return 1.0 / rate, u_rate / rate**2


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
    start_less_end = start - curve.end
    results = [
        make_figure(
            evidence.trial,
            "discharge_time_constant",
            curve.time_constant_s,
            "s",
            _budget(evidence, found, per_end=0.0, per_second=1.0),
            reached=reached,
            notes=(f"Read from {found.values[0]:.3g} V on, without load.",),
        )
    ]
    low = settings.safe_voltage - curve.end
    unseen = _unseen(settings, found)
    if settings.safe_voltage < start and "time_to_safe_voltage" not in unseen:
        way = log(start_less_end / low)
        per_volt = curve.time_constant_s * (1.0 / low - 1.0 / start_less_end)
        results.append(
            make_figure(
                evidence.trial,
                "time_to_safe_voltage",
                way * curve.time_constant_s,
                "s",
                _budget(evidence, found, per_end=per_volt, per_second=way),
                reached=reached,
                notes=(
                    f"From {start:.4g} V to {settings.safe_voltage:.3g} V along the fitted curve. "
                    "A capacitor elsewhere in the unit may hold more for longer.",
                ),
            )
        )
    if "residual_voltage" in unseen:
        return tuple(results)
    left = exp(-settings.after / curve.time_constant_s)
    slope = start_less_end * left * settings.after / curve.time_constant_s**2
    results.append(
        make_figure(
            evidence.trial,
            "residual_voltage",
            curve.end + start_less_end * left,
            "V",
            _budget(evidence, found, per_end=1.0 - left, per_second=slope),
            reached={**reached, "duration": settings.after},
            notes=(
                f"{settings.after:.3g} s after the output began to fall, by the fitted curve; how "
                "long the unit held it after the switch is not in that.",
            ),
        )
    )
    return tuple(results)


SURELY_ABOVE = 2.0
"""A safe voltage so many standard uncertainties above the curve's end is reached."""


def _seen_s(settings: Settings, found: Fall) -> float:
    """Return how long the fall was seen, counted along the curve from the set voltage on."""
    curve = found.curve
    over = (settings.voltage - curve.end) / max(curve.swing, 1e-9)
    return curve.time_constant_s * log(max(over, 1.0)) + float(found.times[-1])


def _unseen(settings: Settings, found: Fall) -> dict[str, str]:
    """Say by figure what of the fall was not seen: along its curve alone nothing is judged."""
    seen = _seen_s(settings, found)
    read = f"and was read for {format_quantity(seen, 's', 3)}. Read longer."
    why = {}
    if settings.after > seen:
        after = format_quantity(settings.after, "s", 3)
        why["residual_voltage"] = f"The output was not seen {after} after it began to fall, {read}"
    low, whole = settings.safe_voltage - found.curve.end, settings.voltage - found.curve.end
    if low <= SURELY_ABOVE * found.curve.u_end:
        why["time_to_safe_voltage"] = (
            f"The output does not fall to {settings.safe_voltage:.3g} V: it ends at "
            f"{format_quantity(found.curve.end, 'V', 3)}."
        )
        return why
    way_s = found.curve.time_constant_s * log(whole / low) if whole > low > 0.0 else 0.0
    if way_s > seen:
        why["time_to_safe_voltage"] = (
            f"The output was not seen to fall to {settings.safe_voltage:.3g} V: it would take "
            f"{format_quantity(way_s, 's', 3)} {read}"
        )
    return why


def cannot(settings: Settings, evidence: Evidence) -> dict[str, str]:
    """Say what of the fall was not seen."""
    return _unseen(settings, fall(settings, evidence))


def _budget(
    evidence: Evidence, found: Fall, *, per_end: float, per_second: float
) -> list[Component]:
    """Return the budget of what changes so with the curve's end (V) and τ (s).

    The meter's offset moves the whole curve and with it the end.
    """
    curve = found.curve
    u, dof = curve.u_of(per_end, per_second), curve.dof
    if not found.alike:
        u, dof = u / curve.widened, found.values.size - UNKNOWNS
    meter = replace(evidence.context.accuracy(VOLTAGE), noise=0.0, resolution=0.0)
    return [
        of(type_a("scatter about the curve", u, dof), VOLTAGE),
        of(
            rectangular("earlier against later half of the fall", found.misfit_s, per_second),
            VOLTAGE,
            "s",
        ),
        *(absolute(meter, 0.0, per_end) if per_end else ()),
    ]


UNKNOWNS = 3.0
"""Of the curve: end, swing and τ."""


def charts(
    settings: Settings, evidence: Evidence, figures: tuple[Figure, ...]
) -> tuple[Chart, ...]:
    """Draw the fall as read and the curve through it, counted from the set voltage on."""
    found = fall(settings, evidence)
    curve = found.curve
    whole = _seen_s(settings, found)
    before = whole - float(found.times[-1])
    smooth = np.linspace(0.0, whole, 200)
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
    cannot=cannot,
)
