"""Overlapping Allan deviation: how stability depends on the averaging time."""

from dataclasses import dataclass

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.allan_confidence import equivalent_dof, interval, powers_of
from sequencer.numerics.checks import Array, Values, positive, series, varying


@dataclass(frozen=True, slots=True)
class Allan:
    """Deviation for each averaging time.

    Attributes
    ----------
    tau_s
        Shape (k,), averaging times.
    deviation
        Shape (k,), in the unit of the values.
    terms
        Shape (k,), overlapping terms averaged.
    power
        Shape (k,), α of the noise that the values show at each averaging time: 2 or 1 (the values'
        sum is white, flickers), 0 (white), −1 (flicker), −2 (random walk).
    dof
        Shape (k,), equivalent degrees of freedom of the variance with that noise.
    lower, upper
        Shape (k,), 95.45 % interval from the chi-square distribution.
    u
        Shape (k,), standard uncertainty deviation/√(2·dof).
    """

    tau_s: Array
    deviation: Array
    terms: Array
    u: Array
    power: Array
    dof: Array
    lower: Array
    upper: Array

    def nearest(self, tau_s: float) -> int:
        """Return the position of the averaging time nearest to `tau_s`, by ratio."""
        return int(np.argmin(np.abs(np.log(self.tau_s / tau_s))))


#: Of the intervals, as of every stated U (JCGM 100, G.6.6).
PROBABILITY = 0.9545


def overlapping(values: Values, period_s: float, factors: tuple[int, ...] | None = None) -> Allan:
    """Return the overlapping Allan deviation of evenly spaced values.

    Parameters
    ----------
    values
        Shape (n,), any unit: means over one period each (the role of frequency data).
    period_s
        Spacing of the values.
    factors
        Averaging factors m (τ = m·period). None: 1, 2, 4, … as long as three stretches of m fit.

    Raises
    ------
    FigureError
        For fewer than 3 values, not finite ones, values all alike, a period not above zero, or a
        factor for which fewer than two stretches fit. A row with gaps has to be cut at the gaps
        first.

    Notes
    -----
    W. J. Riley, Handbook of Frequency Stability Analysis, NIST SP 1065 (2008), 5.2.4; confidence
    5.4 and `sequencer.numerics.allan_confidence`.

    Examples
    --------
    The nine values of SP 1065, table 29:

    >>> values = [892.0, 809, 823, 798, 671, 644, 883, 903, 677]
    >>> [round(float(one), 4) for one in overlapping(values, 1.0, (1, 2)).deviation]
    [91.2294, 85.9529]
    """
    y = series("values", values, 3)
    period = positive("period", period_s)
    if factors is None:
        factors = tuple(2**power for power in range(y.size.bit_length()) if 3 * 2**power <= y.size)
    if not factors:
        raise FigureError("averaging factors: found none, expected at least one.")
    varying("values", y)
    deviations, terms = [], []
    for m in factors:
        if not (m == int(m) and 1 <= m <= y.size // 2):
            raise FigureError(
                f"averaging factor: found {m}, expected a whole number from 1 to {y.size // 2} for "
                f"{y.size} values."
            )
        apart = steps(y, m)
        deviations.append(float(np.sqrt(np.mean(apart**2) / 2)))
        terms.append(apart.size)
    chosen = np.array(factors, dtype=np.float64)
    deviation = np.array(deviations)
    power = powers_of(y, factors)
    dof = np.array([equivalent_dof(one, y.size, m) for one, m in zip(power, factors, strict=True)])
    lower, upper = interval(deviation, dof, PROBABILITY)
    return Allan(
        tau_s=chosen * period,
        deviation=deviation,
        terms=np.array(terms, dtype=np.float64),
        u=deviation / np.sqrt(2 * dof),
        power=np.array(power, dtype=np.float64),
        dof=dof,
        lower=lower,
        upper=upper,
    )


def steps(values: Array, factor: int) -> Array:
    """Return the differences of neighbouring means of `factor` values, overlapping.

    Half of their mean square is the Allan variance (NIST SP 1065, 5.2.4).
    """
    sums = np.concatenate([[0.0], np.cumsum(values - values.mean())])
    found: Array = (sums[2 * factor :] - 2 * sums[factor:-factor] + sums[: -2 * factor]) / factor
    return found
