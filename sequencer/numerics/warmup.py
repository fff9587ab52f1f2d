"""Warm-up: when an output came into its band for good."""

from dataclasses import dataclass

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import Values, matching, positive, rising_times
from sequencer.numerics.minutes import MinuteMeans, minute_means

#: Where no final value is given: the mean of this last share of the time.
_FINAL_SHARE = 0.1
#: So many standard uncertainties away a mean may truly be on the other side of the band's edge.
_SURE = 2.0
#: A way that takes so much longer than its slope says is not a straight line.
_STRAIGHT = 1.5
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
    u_common: float = 0.0,
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
    u_common
        Standard uncertainty of the final value against the means at the crossing that noise does
        not show, such as a meter's wander, in the values' unit.

    Raises
    ------
    FigureError
        For values that are not finite, times that do not rise, a band not above zero or no wider
        than noise, a `u_common` that is not finite or below zero, or fewer than two means.

    Notes
    -----
    A mean that stands near the edge of the band may truly be on its other side, and the last one
    outside another then, minutes away: the time is as uncertain as edges moved by two standard
    uncertainties make it, where that is more than the slope at the crossing tells.

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
    if not (np.isfinite(u_common) and u_common >= 0.0):
        raise FigureError(
            f"u_common of the warm-up: found {u_common:g}, expected a finite number not below zero."
        )
    means = minute_means(t, y, period_s)
    aim = (
        final if final is not None else float(y[t >= t[-1] - _FINAL_SHARE * (t[-1] - t[0])].mean())
    )
    of_mean = float(np.median(means.u))
    of_final = of_mean / float(np.sqrt(max(_FINAL_SHARE * means.mean.size, 1.0)))
    noise = float(np.hypot(of_mean, of_final))
    if noise > 0 and width < _LEAST_BAND * noise:
        raise FigureError(
            f"band: found ± {width:.3g}, expected at least {_LEAST_BAND:g} times the noise of one "
            f"mean ({noise:.2g}): noise alone would leave it. Take a wider band or "
            "more readings."
        )
    crossing = _crossing(means, aim, width)
    if crossing.never:
        return WarmUp(False, float("nan"), float("nan"), aim)
    both = float(np.hypot(noise, u_common))
    wider, narrower = (_crossing(means, aim, width + side * _SURE * both) for side in (1.0, -1.0))
    begin = float(means.time[0] - t[0])
    time_s, early, late = (
        0.0 if one.rate == 0.0 else begin + one.after_s for one in (crossing, wider, narrower)
    )
    doubt = max(late - time_s, time_s - early) / _SURE
    if crossing.rate == 0.0:
        unresolved, u = period_s / 2, doubt
    else:
        unresolved = 0.0
        at_once = float(np.hypot(np.hypot(crossing.noise, of_final), u_common)) / crossing.rate
        u = doubt if doubt > _STRAIGHT * both / crossing.rate else at_once
    return WarmUp(
        reached=True,
        time_s=time_s,
        u=u,
        final=aim,
        rate=crossing.rate,
        noise=noise,
        per_unit=u / both if both > 0.0 else 0.0,
        unresolved_s=unresolved,
    )


@dataclass(frozen=True, slots=True)
class _Crossing:
    """When a band was entered for good, s after the first mean's middle.

    `rate` of the values there, 0 where no mean lay outside; `never`: the last one does. `noise` is
    that of the straight line between both means, where it crosses.
    """

    after_s: float = 0.0
    rate: float = 0.0
    noise: float = 0.0
    never: bool = False


def _crossing(means: MinuteMeans, aim: float, width: float) -> _Crossing:
    """Interpolate between the last mean outside and the next one inside."""
    away = means.mean - aim
    outside = np.flatnonzero(np.abs(away) > width)
    time = means.time - means.time[0]
    if outside.size == 0:
        return _Crossing()
    last = int(outside[-1])
    if last == away.size - 1:
        return _Crossing(float(time[last]), float("inf"), never=True)
    sign = float(np.sign(away[last]))
    step = float(time[last + 1] - time[last])
    rate = sign * float(away[last] - away[last + 1]) / step
    share = (sign * float(away[last]) - width) / rate / step
    noise = float(np.hypot((1 - share) * means.u[last], share * means.u[last + 1]))
    return _Crossing(float(time[last]) + share * step, rate, noise)
