"""Warm-up time of a soak: when the output had come into its band for good.

warm_up_time (s)
    From the load's switching on until the output stays in its band. Formula: last time at which a
    one-minute mean is outside ± band of the mean of the last tenth of the warm-up; between the last
    mean outside and the next one a straight line is taken, a mean stands in the middle of its
    minute. 0: no mean was outside. The band is a tenth of the promised drift, else 0.01 % of the
    setting, or the profile's. Components: noise of the means; the meter's own wander over the
    warm-up, divided by the output's rate at the crossing; time from load on to the first reading.
    Definition: common practice, no source.
"""

from sequencer.errors import FigureError
from sequencer.numerics.warmup import WarmUp, warm_up_time
from sequencer.results import Figure
from sequencer.trials.trial import VOLTAGE, Context, Evidence, Point
from sequencer.uncertainty.accuracy import wander_components
from sequencer.uncertainty.combine import normal, rectangular
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
    for limit in context.unit.limits:
        upper = limit.bound.upper
        if limit.judged_figure in DRIFTS and upper is not None:
            return DRIFT_SHARE * upper.resolve(voltage)
    return DEFAULT_SHARE * voltage


def warming(warm_up: Point, band: float) -> WarmUp:
    """Return when the output came into its band.

    Raises
    ------
    FigureError
        When it did not, or the warm-up is too short to tell.
    """
    found = warm_up_time(warm_up.times(VOLTAGE), warm_up.values(VOLTAGE), band)
    if not found.reached:
        raise FigureError(
            f"The output was still leaving its band of ± {band * 1e3:.3g} mV when the warm-up "
            "ended: the time that it needs is longer. Warm up longer, or take a wider band."
        )
    return found


def warm_up_figure(
    evidence: Evidence, warm_up: Point, band: float, *, voltage: float, reached: dict[str, float]
) -> Figure:
    """Return the warm-up time with its budget.

    Raises
    ------
    FigureError
        As `warming`.
    """
    found = warming(warm_up, band)
    times = warm_up.times(VOLTAGE)
    whole = float(times[-1] - times[0])
    delay = min(MOST_DELAY_S, whole / (times.size - 1))
    per_volt = 1.0 / found.rate if found.rate > 0.0 else 0.0
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
            normal("noise of the means", found.u),
            rectangular("time from load on to the first reading", delay),
            *wander_components(
                evidence.context.accuracy(VOLTAGE),
                voltage,
                lag_s=max(whole - found.time_s, 0.0),
                sensitivity=per_volt,
            ),
        ],
        reached={**reached, "duration": whole},
        notes=(
            f"{word}Band: ± {band * 1e3:.3g} mV about the mean of the last tenth of the warm-up of "
            f"{whole / 60:.3g} min.",
        ),
    )
