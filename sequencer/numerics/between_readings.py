"""How much of a row's scatter a mean of readings has that are apart, and a mean of all time not.

May import nothing of this package.
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import exp, isfinite, log, log2, sqrt

#: Of a random walk, and of its Allan variance, a third; of white noise all.
_OF_WALK = 1.0 / 3.0
#: The growth of a walk; what grows faster is smooth between readings.
_WALK, _WHITE = 2.0, 1.0
#: So many standard uncertainties to either side of the growth that was seen.
_SIDES = 2.0
#: As near to white, in growth, a correlation counts as none.
_NO_CORRELATION = 1e-6


@dataclass(frozen=True, slots=True)
class Share:
    """Bounds of a share, between nothing and 1, and the likeliest value between them."""

    low: float
    likely: float
    high: float

    @property
    def half_width(self) -> float:
        """Return half of the distance between both bounds (JCGM 100, 4.3.8: as if symmetrical)."""
        return (self.high - self.low) / 2.0


def missed_share(
    near: float, far: float, of_meter: float, differences: float, readings: int
) -> Share:
    """Return the share of the scatter that lifts an Allan variance.

    What moves a unit's output between readings that are apart lifts the Allan variance of their
    means above that of the output's own means: white noise by all that the means scatter, a
    wander that goes on between the readings by less. The readings tell which it is: white noise
    makes readings two cadences apart differ no more than neighbours, a walk by twice the square.

    Parameters
    ----------
    near, far
        Half of the mean square of the differences of neighbours, and of readings two cadences
        apart.
    of_meter
        Variance of a reading by the meter's own white noise, which is in both.
    differences
        How many differences went into the one that has fewer.
    readings
        In each mean.

    Notes
    -----
    By the growth r, (far − of_meter) over (near − of_meter). Likeliest: a half mean square that
    grows with a power of the time, as in flicker and in a walk. Highest: white noise beside a walk,
    2 − r of it all and r − 1 a third (of a walk's Allan variance n readings give qΔ/(6n) too much,
    and near/n is qΔ/(2n)). Lowest: noise that is smooth between readings, with a correlation that
    falls exponentially, r − 1 from one to the next; nothing from r = 2 on. The Allan variance by
    the half mean square γ(t): 2·F(2T) − 2·F(T), F(T) the mean of γ over all pairs of moments, or
    readings, within T. Variance of far − near for white noise: 2·near²/differences, of near: three
    (von Neumann et al., Ann. Math. Stat. 12 (1941) 153).
    """
    own = near - of_meter
    if not (own > 0.0 and isfinite(far) and readings > 1):
        return Share(0.0, 0.5, 1.0)
    growth = (far - of_meter) / own
    doubt = near / own * sqrt((2.0 + 3.0 * (growth - _WHITE) ** 2) / differences)
    least = min(max(growth - _SIDES * doubt, _WHITE), _WALK)
    most = min(max(growth + _SIDES * doubt, _WHITE), _WALK)
    low, high = _smooth(most, readings), _beside_walk(least)
    return Share(low, min(max(_power((least + most) / 2.0, readings), low), high), high)


def _beside_walk(growth: float) -> float:
    return (_WALK - growth) + (growth - _WHITE) * _OF_WALK


def _smooth(growth: float, readings: int) -> float:
    correlation = growth - _WHITE
    if correlation >= _WALK - _WHITE:
        return 0.0
    if correlation <= _NO_CORRELATION:
        return 1.0
    per_reading = -log(correlation)

    def everywhere(count: int) -> float:
        spans = per_reading * count
        return 1.0 - 2.0 * (exp(-spans) - 1.0 + spans) / spans**2

    return _share(lambda lag: 1.0 - correlation**lag, everywhere, readings)


def _power(growth: float, readings: int) -> float:
    if growth - _WHITE <= _NO_CORRELATION:
        return 1.0
    power = log2(growth)

    def everywhere(count: int) -> float:
        return float(2.0 * count**power / ((power + 1.0) * (power + 2.0)))

    return _share(lambda lag: float(lag**power), everywhere, readings)


def _share(
    differ: Callable[[int], float], everywhere: Callable[[int], float], readings: int
) -> float:
    """Return the share for readings that differ so by lag, γ, and its mean over a time's pairs."""

    def read(count: int) -> float:
        return 2.0 * sum((count - lag) * differ(lag) for lag in range(1, count)) / count**2

    seen = 2.0 * (read(2 * readings) - read(readings))
    true = 2.0 * (everywhere(2 * readings) - everywhere(readings))
    return min(max((seen - true) * readings / differ(1), 0.0), 1.0)
