"""One-minute means of a long row of readings, with its gaps found and stated."""

from dataclasses import dataclass

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array, Values, as_numbers, numbers, positive, rising_times

#: A minute counts when it holds at least this share of the readings that the cadence would give.
_LEAST_SHARE = 0.5
#: A pause longer than this many cadences (and longer than one period) is a gap.
_PAUSE = 3.0
#: A pause longer than this many cadences means that a reading is missing.
_MISSED = 1.5
#: A run of two years by the minute; more are times in another unit.
_MOST_PERIODS = 1e6


@dataclass(frozen=True, slots=True)
class MinuteMeans:
    """Means over one period each.

    Attributes
    ----------
    time
        Shape (k,), seconds, mean time of each period's readings, weighted as these are; rising, not
        always even.
    mean
        Shape (k,), the readings' unit.
    count
        Shape (k,), readings in each.
    u
        Shape (k,), standard uncertainty of each mean from the scatter of neighbouring readings
        (white noise; what wanders slower than two readings is signal, not noise).
    noise_dof
        Degrees of freedom of that scatter.
    gaps
        (from, to) in seconds of each stretch without enough readings.
    period_s, start_s, end_s
        Length of a period; the time covered by the readings.
    notes
        What was left out, in words.
    """

    time: Array
    mean: Array
    count: Array
    u: Array
    noise_dof: float
    gaps: tuple[tuple[float, float], ...]
    period_s: float
    start_s: float
    end_s: float
    notes: tuple[str, ...] = ()

    @property
    def covered_s(self) -> float:
        """Return the time covered without the gaps, s."""
        return self.end_s - self.start_s - sum(end - start for start, end in self.gaps)


def minute_means(times: Values, values: Values, period_s: float = 60.0) -> MinuteMeans:
    """Return the means over successive periods from the first reading on.

    Where readings are missing within a period, their neighbours stand for them by half the pause
    each, as else the mean would be that of another time (a warming unit, a link lost for seconds).

    Parameters
    ----------
    times
        Shape (n,), seconds, rising.
    values
        Shape (n,), any unit; NaN where a reading overflowed or is missing (left out and noted).
    period_s
        Length of one period, 60 s for the drift figures.

    Raises
    ------
    FigureError
        If fewer than two periods hold enough readings, times do not rise, or all readings are
        alike (no noise and no drift: a frozen meter).
    """
    t = rising_times(times, 3)
    y = as_numbers("values", values)
    if y.shape != t.shape:
        raise FigureError(f"values: found {y.size} beside {t.size} times; expected one for each.")
    period = positive("period", period_s)
    notes: list[str] = []
    cadence = float(np.median(np.diff(t)))
    start, end = float(t[0]), float(t[-1]) + cadence
    good = numbers(y)
    if not good.all():
        notes.append(f"{int((~good).sum())} of {y.size} readings gave no number and were left out.")
        t, y = t[good], y[good]
    if y.size and np.ptp(y) == 0:
        raise FigureError(
            f"values: all {y.size} readings are {y[0]:g}. A meter that never changes its last "
            "digit over a soak is frozen or too coarse; its drift is unknown."
        )
    if (end - start) / period > _MOST_PERIODS:
        raise FigureError(
            f"times: found {end - start:.3g} s, more than {_MOST_PERIODS:.0e} periods of "
            f"{period:g} s. Expected seconds of one run."
        )
    bins = np.floor((t - start) / period * (1 + 1e-12)).astype(np.int64)
    length = int(bins[-1]) + 1 if bins.size else 0
    counts = np.bincount(bins, minlength=length).astype(np.float64)
    enough = counts >= max(1.0, _LEAST_SHARE * min(period / cadence, float(y.size)))
    if np.count_nonzero(enough) < 2:
        raise FigureError(
            f"values: {y.size} readings over {end - start:.0f} s fill fewer than two periods of "
            f"{period:g} s; expected a longer row. Measure longer or read more often."
        )
    dropped = int(np.count_nonzero((counts > 0) & ~enough))
    if dropped:
        notes.append(
            "1 period with too few readings was left out."
            if dropped == 1
            else f"{dropped} periods with too few readings were left out."
        )
    weight = _weights(t - start, bins, cadence, period)
    sums = np.bincount(bins, weights=weight * y, minlength=length)[enough]
    time_sums = np.bincount(bins, weights=weight * (t - start), minlength=length)[enough]
    totals = np.bincount(bins, weights=weight, minlength=length)[enough]
    squares = np.bincount(bins, weights=weight**2, minlength=length)[enough]
    sd, dof = _white_noise(y, bins)
    gaps = _gaps(t, start, end, max(_PAUSE * cadence, period))
    if gaps:
        lost = sum(to - since for since, to in gaps)
        notes.append(f"{len(gaps)} gaps, {lost:.0f} s in all, hold no readings.")
    return MinuteMeans(
        time=start + time_sums / totals,
        mean=sums / totals,
        count=counts[enough],
        u=sd * np.sqrt(squares) / totals,
        noise_dof=dof,
        gaps=gaps,
        period_s=period,
        start_s=start,
        end_s=end,
        notes=tuple(notes),
    )


def _weights(
    t: Array, bins: np.ndarray[tuple[int], np.dtype[np.int64]], cadence: float, period: float
) -> Array:
    """Return for how many cadences each reading stands: 1, but more beside a missing one.

    A reading's own cadence is the one that it begins; what lies between two readings is halved
    among them, within their periods.
    """
    middle = t + cadence / 2
    between = (middle[1:] + middle[:-1]) / 2
    before = np.maximum(np.concatenate([[0.0], between]), bins * period)
    after = np.minimum(np.concatenate([between, [middle[-1] + cadence / 2]]), (bins + 1) * period)
    missing = np.zeros(int(bins[-1]) + 1, dtype=bool)
    paused = np.diff(middle) > _MISSED * cadence
    missing[bins[:-1][paused]] = missing[bins[1:][paused]] = True
    return np.where(missing[bins], (after - before) / cadence, 1.0)


def _white_noise(y: Array, bins: np.ndarray[tuple[int], np.dtype[np.int64]]) -> tuple[float, float]:
    """Return the noise of one reading from neighbours within a period, and its dof.

    Half the mean squared successive difference (J. von Neumann et al., Ann. Math. Stat. 12 (1941)
    153) is blind to drift; its degrees of freedom are about two thirds of the differences. With
    one reading per period, neighbours across periods serve: then slow drift enters, upwards.
    """
    steps = np.diff(y)
    inside = np.diff(bins) == 0
    used = steps[inside] if np.count_nonzero(inside) >= 2 else steps
    sd = float(np.sqrt(np.mean(used**2) / 2))
    return sd, max(2 * used.size / 3, 1.0)


def _gaps(t: Array, start: float, end: float, longest: float) -> tuple[tuple[float, float], ...]:
    """Return stretches longer than `longest` without a reading."""
    edges = np.concatenate([[start], t, [end]])
    wide = np.flatnonzero(np.diff(edges) > longest)
    return tuple((float(edges[i]), float(edges[i + 1])) for i in wide)
