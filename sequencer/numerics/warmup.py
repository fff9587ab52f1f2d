"""Warm-up: when an output came into its band for good."""

from dataclasses import dataclass, replace

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import Values, matching, positive, rising_times
from sequencer.numerics.minutes import MinuteMeans, minute_means

#: Where no final value is given: the mean of this last share of the time.
_FINAL_SHARE = 0.1
#: A band narrower than this many standard deviations of one mean is left by noise alone, in one of
#: the hundreds of means of a warm-up.
_LEAST_BAND = 4.0


@dataclass(frozen=True, slots=True)
class WarmUp:
    """When the band was entered to stay.

    `time_s` counts from the first reading and is NaN where the band was not reached; 0 says that no
    mean lay outside. `u` is that of noise, at the crossing and of the final value; between two
    means the way is a straight line by definition. `final` is the value that the band lies about,
    `rate` how fast the values moved at the crossing, their unit per second (0 where nothing
    crossed).
    """

    reached: bool
    time_s: float
    u: float
    final: float
    rate: float = 0.0


def warm_up_time(
    times: Values,
    values: Values,
    band: float,
    *,
    final: float | None = None,
    period_s: float = 60.0,
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

    Raises
    ------
    FigureError
        For values that are not finite, times that do not rise, a band not above zero or no wider
        than noise, or fewer than two means.

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
    means = minute_means(t, y, period_s)
    aim = (
        final if final is not None else float(y[t >= t[-1] - _FINAL_SHARE * (t[-1] - t[0])].mean())
    )
    noise = float(np.hypot(np.median(means.u), np.median(means.u) / np.sqrt(_tail(means))))
    if noise > 0 and width < _LEAST_BAND * noise:
        raise FigureError(
            f"band: found ± {width:.3g}, expected at least {_LEAST_BAND:g} times the noise of one "
            f"mean ({noise:.2g}): noise alone would leave it. Take a wider band or "
            "more readings."
        )
    outside = np.flatnonzero(np.abs(means.mean - aim) > width)
    # Noise may have made the last mean outside out of one inside, and the other way round.
    early, late = (_entered(means, aim, width + side * noise) for side in (1.0, -1.0))
    doubt = (late - early) / 2
    if outside.size == 0:
        return WarmUp(True, 0.0, float(np.hypot(period_s / 2 / np.sqrt(3), doubt)), aim)
    last = int(outside[-1])
    if last == means.mean.size - 1:
        return WarmUp(False, float("nan"), float("nan"), aim)
    found = _crossing(means, last, aim, width, float(t[0]))
    return replace(found, u=max(found.u, doubt))


def _tail(means: MinuteMeans) -> float:
    """Return how many means the final value is of."""
    return max(_FINAL_SHARE * means.mean.size, 1.0)


def _entered(means: MinuteMeans, aim: float, width: float) -> float:
    """Return when a band was entered for good, s after the first mean's middle; 0: never left."""
    away = np.abs(means.mean - aim)
    outside = np.flatnonzero(away > width)
    if outside.size == 0:
        return 0.0
    last = int(outside[-1])
    time = means.time - means.time[0]
    if last == away.size - 1:
        return float(time[last])
    share = (away[last] - width) / (away[last] - away[last + 1])
    return float(time[last] + share * (time[last + 1] - time[last]))


def _crossing(means: MinuteMeans, last: int, aim: float, width: float, start: float) -> WarmUp:
    """Interpolate between the last mean outside and the next one inside."""
    before, after = abs(means.mean[last] - aim), abs(means.mean[last + 1] - aim)
    step = float(means.time[last + 1] - means.time[last])
    same_side = (means.mean[last] - aim) * (means.mean[last + 1] - aim) >= 0
    slope = (before - after if same_side else before + after) / step
    at = float(means.time[last]) + (before - width) / slope
    # Noise of the two means beside the crossing, and of the value that the band lies about.
    share = (at - float(means.time[last])) / step
    ends = np.hypot((1 - share) * means.u[last], share * means.u[last + 1])
    noise = float(np.hypot(ends, np.median(means.u) / np.sqrt(_tail(means)))) / slope
    return WarmUp(True, at - start, noise, aim, slope)
