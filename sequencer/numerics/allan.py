"""Overlapping Allan deviation: how stability depends on the averaging time."""

from dataclasses import dataclass

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array, Values, positive, series


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
    u
        Shape (k,), rough standard uncertainty: deviation/√(number of independent pairs · 2).
    """

    tau_s: Array
    deviation: Array
    terms: Array
    u: Array


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
        For fewer than 3 values, not finite ones, a period not above zero, or a factor for which
        fewer than two stretches fit. A row with gaps has to be cut at the gaps first.

    Notes
    -----
    W. J. Riley, Handbook of Frequency Stability Analysis, NIST SP 1065 (2008), 5.2.4.
    """
    y = series("values", values, 3)
    period = positive("period", period_s)
    if factors is None:
        factors = tuple(2**power for power in range(y.size.bit_length()) if 3 * 2**power <= y.size)
    sums = np.concatenate([[0.0], np.cumsum(y - y.mean())])
    deviations, terms = [], []
    for m in factors:
        if not 1 <= m <= y.size // 2:
            raise FigureError(
                f"averaging factor: found {m}, expected 1 to {y.size // 2} for {y.size} values."
            )
        second = sums[2 * m :] - 2 * sums[m:-m] + sums[: -2 * m]
        deviations.append(float(np.sqrt(np.mean(second**2) / 2)) / m)
        terms.append(second.size)
    chosen = np.array(factors, dtype=np.float64)
    deviation = np.array(deviations)
    independent = np.maximum(y.size / chosen - 1, 1.0)
    return Allan(
        tau_s=chosen * period,
        deviation=deviation,
        terms=np.array(terms, dtype=np.float64),
        u=deviation / np.sqrt(2 * independent),
    )
