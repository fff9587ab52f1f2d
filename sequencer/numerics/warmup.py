"""Warm-up: when an output came into its band for good."""

from dataclasses import dataclass

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import (
    Array,
    Values,
    matching,
    not_negative,
    positive,
    rising_times,
    series,
)
from sequencer.numerics.minutes import minute_means

#: Where no final value is given: the mean of this last share of the time.
_FINAL_SHARE = 0.1
#: How often noise is drawn anew; of these times so many are within two standard uncertainties.
_DRAWS = 4000
_COVERED, _FACTOR = 0.9545, 2.0
#: A band narrower than this many standard deviations of one mean is left by noise alone, in one of
#: the hundreds of means of a warm-up.
_LEAST_BAND = 4.0


@dataclass(frozen=True, slots=True)
class WarmUp:
    """When the band was entered to stay.

    Attributes
    ----------
    time_s
        From the first reading; NaN where the band was not reached, 0 where no mean lay outside.
    u
        Standard uncertainty of the time by noise, at the crossing and of the final value, and by
        what is common to these; between two means the way is a straight line by definition.
    final
        The value that the band lies about.
    rate
        How fast the values moved at the crossing, their unit per second; 0 where nothing crossed.
    noise
        Standard uncertainty of a mean's departure from the final value by noise, in the values'
        unit.
    per_unit
        Seconds of `u` for each unit of that noise and of what is common, together.
    unresolved_s
        How long a time of 0 may truly have been: half of a mean's time.
    """

    reached: bool
    time_s: float
    u: float
    final: float
    rate: float = 0.0
    noise: float = 0.0
    per_unit: float = 0.0
    unresolved_s: float = 0.0


def warm_up_time(
    times: Values,
    values: Values,
    band: float,
    *,
    final: float | None = None,
    period_s: float = 60.0,
    u_mean: float | None = None,
    half_widths: Values = (),
) -> WarmUp:
    """Return the time after which the means stay within ± `band` of the final value.

    Parameters
    ----------
    times
        Shape (n,), seconds, rising, from switching on.
    values
        Shape (n,), any unit.
    band
        Half-width in that unit, above zero.
    final
        The value aimed at; None: the mean of the last tenth of the time.
    period_s
        Means over this time are looked at.
    u_mean
        Standard uncertainty of one mean by noise, in the values' unit; None: from the scatter of
        the readings, with all that moved between them.
    half_widths
        Shape (m,), half-widths of rectangular distributions of what the final value may be off by
        against the means at the crossing and noise does not show, such as a meter's wander, in the
        values' unit.

    Raises
    ------
    FigureError
        For values that are not finite, times that do not rise, a band not above zero or no wider
        than noise, a `u_mean` or half-widths that are not finite or below zero, or fewer than two
        means.

    Notes
    -----
    A mean that stands near the edge of the band may truly be on its other side, and the last one
    outside another then, minutes away. So the uncertainty is found by drawing noise, and what is
    common, anew (JCGM 101:2008): two `u` hold 95.45 % of the times that come out.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(7200.0)
    >>> noise = 1e-6 * np.random.default_rng(1).standard_normal(t.size)
    >>> volts = 30 + 5e-3 * np.exp(-t / 900) + noise
    >>> found = warm_up_time(t, volts, 1e-3, final=30.0)
    >>> abs(found.time_s - 900 * np.log(5)) < 1.0 and found.u < 0.2
    True
    """
    t = rising_times(times, 3)
    y = matching("values", values, "times", t)
    width = positive("band", band)
    if final is not None:
        series("final value", [final])
    not_negative("u_mean of the warm-up", u_mean or 0.0)
    halves = series("half-widths", half_widths, 0)
    not_negative("half-widths of the warm-up", float(halves.min(initial=0.0)))
    means = minute_means(t, y, period_s)
    aim = (
        final if final is not None else float(y[t >= t[-1] - _FINAL_SHARE * (t[-1] - t[0])].mean())
    )
    of_mean = float(np.median(means.u)) if u_mean is None else u_mean
    of_final = of_mean / float(np.sqrt(max(_FINAL_SHARE * means.mean.size, 1.0)))
    noise = float(np.hypot(of_mean, of_final))
    if noise > 0 and width < _LEAST_BAND * noise:
        raise FigureError(
            f"warm-up: found a band of ± {width:.3g}, expected at least {_LEAST_BAND:g} times the "
            f"noise of one mean, {noise:.2g} in the readings' unit: noise alone would leave the "
            "band. Take a wider one, or more readings."
        )
    away = means.mean - aim
    entered, rate = _entered(means.time - t[0], away[None, :], width)
    time_s = float(entered[0])
    if time_s >= float(means.time[-1] - t[0]):
        return WarmUp(False, float("nan"), float("nan"), aim)
    both = float(np.sqrt(noise**2 + np.sum(halves**2) / 3.0))
    # A fixed seed: the same readings always have the same uncertainty.
    rng = np.random.default_rng(0)
    draw = rng.standard_normal((_DRAWS, away.size + 1))
    common = of_final * draw[:, 0] + rng.uniform(-1.0, 1.0, (_DRAWS, halves.size)) @ halves
    others, _ = _entered(means.time - t[0], away + common[:, None] + of_mean * draw[:, 1:], width)
    half = float(np.quantile(np.abs(others - time_s), _COVERED))
    u = half / _FACTOR
    return WarmUp(
        reached=True,
        time_s=time_s,
        u=u,
        final=aim,
        rate=float(rate[0]),
        noise=noise,
        per_unit=u / both if both > 0.0 else 0.0,
        unresolved_s=period_s / 2 if time_s == 0.0 else 0.0,
    )


def _entered(time: Array, away: Array, width: float) -> tuple[Array, Array]:
    """Return when rows of departures came into a band for good, and how fast they moved there.

    Shape (k,): time 0 and rate 0 where none lay outside, the last time where the last one does.
    Between the last one outside and the next a straight line is taken.
    """
    outside = np.abs(away) > width
    last = away.shape[1] - 1 - np.argmax(outside[:, ::-1], axis=1)
    after = np.minimum(last + 1, away.shape[1] - 1)
    rows = np.arange(away.shape[0])
    before = np.abs(away[rows, last])
    fall = before - np.sign(away[rows, last]) * away[rows, after]
    step = time[after] - time[last]
    share = np.divide(before - width, fall, out=np.zeros_like(fall), where=fall > 0.0)
    rate = np.divide(fall, step, out=np.zeros_like(fall), where=step > 0.0)
    never_out = ~outside.any(axis=1)
    return np.where(never_out, 0.0, time[last] + share * step), np.where(never_out, 0.0, rate)
