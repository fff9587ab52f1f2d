"""Warm-up time of a soak: when the output had come into its band for good.

warm_up_time (s)
    From the load's switching on until the output stays in its band. Formula: last time at which a
    one-minute mean is outside ± band of the mean of the last tenth of the warm-up; between the last
    mean outside and the next one a straight line is taken, a mean stands in the middle of its
    minute. 0: no mean was outside. The band is a tenth of the promised drift, else 0.01 % of the
    setting, or the profile's. Components: noise of the means; the meter's own wander from the
    crossing to the end, and what it follows of the room meanwhile; time from load on to the first
    reading; the first minute, where no mean was outside. By how much noise and meter move the time
    is found by drawing them anew (JCGM 101), as a mean near the edge may make another one the last
    outside; two u hold 95.45 % of the times drawn, so all count as normal. Definition: common
    practice, no source.
"""

from dataclasses import replace
from math import sqrt

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.minutes import minute_means
from sequencer.numerics.warmup import WarmUp, warm_up_time
from sequencer.requests import Array
from sequencer.results import Component, Figure
from sequencer.trials.between_readings import MISSED
from sequencer.trials.parts import of
from sequencer.trials.promised import upper_promise
from sequencer.trials.stability import by_meter
from sequencer.trials.trial import AMBIENT, VOLTAGE, Context, Evidence, Point
from sequencer.uncertainty.accuracy import Accuracy, wander_components
from sequencer.uncertainty.combine import normal, rectangular, scaled
from sequencer.uncertainty.distribution import NORMAL
from sequencer.uncertainty.figure import make_figure

MOST_DELAY_S = 1.0
"""The first reading is asked for as soon as the load has been switched on."""

DRIFT_SHARE = 0.1
"""A tenth of the promised drift: what is left of the warm-up then hardly counts in it."""

DEFAULT_SHARE = 1e-4
"""Without a promised drift, 0.01 % of the setting."""

DRIFTS = ("drift", "drift_span", "drift_about_mean")


def band_of(asked: float | None, voltage: float, context: Context) -> float:
    """Return the half-width of the band in volts."""
    if asked is not None:
        return asked
    promised = upper_promise(context, DRIFTS, voltage, "duration")
    return DEFAULT_SHARE * voltage if promised is None else DRIFT_SHARE * promised


def warming(
    warm_up: Point, band: float, context: Context, voltage: float
) -> tuple[WarmUp, list[Component]]:
    """Return when the output came into its band, and what the meter moves by until the end, in V.

    Raises
    ------
    FigureError
        When it did not, or the warm-up is too short to tell.
    """
    times, values = warm_up.times(VOLTAGE), warm_up.values(VOLTAGE)
    u_mean = _noise_of_mean(times, values, context.accuracy(VOLTAGE))
    first = warm_up_time(times, values, band, u_mean=u_mean)
    if not first.reached:
        raise FigureError(
            f"The output was still leaving its band of ± {band * 1e3:.3g} mV when the warm-up "
            "ended: the time that it needs is longer. Warm up longer, or take a wider band."
        )
    own = wander_components(
        context.accuracy(VOLTAGE),
        voltage,
        lag_s=max(float(times[-1] - times[0]) - first.time_s, 0.0),
        temperature_change_k=_room_since(warm_up, first.time_s, context),
        heating_change=0.0,
    )
    halves = [sqrt(3.0) * part.contribution for part in own]  # they are all rectangular
    return warm_up_time(times, values, band, u_mean=u_mean, half_widths=halves), own


def _noise_of_mean(times: Array, values: Array, accuracy: Accuracy) -> float:
    """Return the standard uncertainty of a one-minute mean by noise, V.

    As `between_readings`, but a walk, whose steps add up, is told from what does not: readings two
    apart differ by twice a walk's square, by once that of noise. A walk is followed, not missed.
    """
    minutes = minute_means(times, values)
    own, seen = by_meter(minutes, accuracy), minutes.u**2
    one, two = (float(np.mean((values[n:] - values[:-n]) ** 2)) for n in (1, 2))
    steady = min(max(2.0 - two / one, 0.0), 1.0)
    missed = np.maximum(MISSED_BESIDE_WALK * (steady * seen - own), MISSED[0] * (seen - own))
    return float(np.sqrt(np.median(own + missed)))


MISSED_BESIDE_WALK = 2.0 / 3.0
"""Which part of what is left then is noise of the mean, as squares: the middle between a third, of
flicker that ends at the readings' rate, and all, of white noise. By the sums beside `MISSED`:
(0.58 + ln(f/r))/(1.72 + ln(f/r)).
"""


def _room_since(warm_up: Point, time_s: float, context: Context) -> float:
    """Return by how much (K) the room changed from the crossing to the warm-up's last tenth."""
    if AMBIENT not in warm_up.readings.value:
        return context.accuracy(VOLTAGE).temperature_span
    times, room = warm_up.times(AMBIENT), warm_up.values(AMBIENT)
    since = times - times[0]
    last = since >= since[-1] * (1.0 - FINAL_SHARE)
    about = np.abs(since - time_s) <= max(MEAN_S, float(since[-1]) / since.size)
    return abs(float(room[last].mean() - room[about].mean()))


FINAL_SHARE = 0.1
MEAN_S = 60.0
"""A minute about the crossing, so that the thermometer's noise counts little."""


def warm_up_figure(
    evidence: Evidence, warm_up: Point, band: float, *, voltage: float, reached: dict[str, float]
) -> Figure:
    """Return the warm-up time with its budget.

    Raises
    ------
    FigureError
        As `warming`.
    """
    found, own = warming(warm_up, band, evidence.context, voltage)
    times = warm_up.times(VOLTAGE)
    whole = float(times[-1] - times[0])
    delay = min(MOST_DELAY_S, whole / (times.size - 1))
    word = (
        "No one-minute mean lay outside; the first minute itself is not resolved. "
        if found.time_s == 0.0
        else ""
    )
    return make_figure(
        evidence.trial,
        "warm_up_time",
        found.time_s,
        "s",
        [
            of(normal("noise of the means", found.noise, found.per_unit), VOLTAGE, "V"),
            rectangular("the first minute", found.unresolved_s),
            rectangular("time from load on to the first reading", delay),
            *(replace(part, distribution=NORMAL) for part in scaled(own, found.per_unit)),
        ],
        reached={**reached, "duration": whole},
        notes=(
            f"{word}Band: ± {band * 1e3:.3g} mV about the mean of the last tenth of the warm-up of "
            f"{whole / 60:.3g} min.",
        ),
    )
