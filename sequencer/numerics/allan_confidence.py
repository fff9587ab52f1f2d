"""How far an Allan deviation can be trusted: kind of noise, equivalent degrees of freedom.

May import `sequencer.numerics.checks` and scipy only.
"""

from math import exp, log, sqrt

import numpy as np
from scipy import special

from sequencer.numerics.checks import Array

#: Powers of the noise's spectrum, from the kind that averages away best to the one that does least:
#: white and flicker of the phase, then white, flicker and random walk of the values themselves.
KINDS = (2, 1, 0, -1, -2)
#: Fewer means than this don't tell their kind of noise (SP 1065, 5.5.3).
_LEAST_TO_TELL = 30
_FEWEST = 8
#: Differenced until the lag-1 measure is below this: then the row counts as stationary.
_STATIONARY = 0.25
_MOST_DIFFERENCES = 2


def noise_power(values: Array) -> int:
    """Return the spectrum's power α of evenly spaced means, one of 2 to −2.

    Parameters
    ----------
    values
        Shape (n,), means over one averaging time each.

    Notes
    -----
    Lag-1 autocorrelation: W. J. Riley, C. A. Greenhall, "Power law noise identification using the
    lag 1 autocorrelation", EFTF 2004; NIST SP 1065, 5.5.3 to 5.5.6.
    """
    z = np.asarray(values, dtype=np.float64)
    differences = 0
    while True:
        centred = z - z.mean()
        power = float(centred @ centred)
        lag_1 = float(centred[:-1] @ centred[1:]) / power if power > 0 else 0.0
        measure = lag_1 / (1 + lag_1) if lag_1 > -1 else -1.0
        if measure < _STATIONARY or differences == _MOST_DIFFERENCES:
            return int(np.clip(round(-2 * (measure + differences)), KINDS[-1], KINDS[0]))
        z = np.diff(z)
        differences += 1


def equivalent_dof(power: int, means: int, factor: int) -> float:
    """Return the equivalent degrees of freedom of an overlapping Allan variance, at least 1.

    Parameters
    ----------
    power
        α of the noise, 2 to −2.
    means
        How many values of the basic period there are.
    factor
        Averaging factor m.

    Notes
    -----
    NIST SP 1065, 5.4.1 (D. A. Howe, D. W. Allan, J. A. Barnes, Proc. 35th Annual Symposium on
    Frequency Control, 1981), with N = means + 1 points of the values' running sum.
    """
    n, m = means + 1, factor
    if power == KINDS[0]:
        edf = (n + 1) * (n - 2 * m) / (2 * (n - m))
    elif power == KINDS[1]:
        first = max(log((n - 1) / (2 * m)), 0.0)
        edf = exp(sqrt(first * log((2 * m + 1) * (n - 1) / 4)))
    elif power == 0:
        edf = (3 * (n - 1) / (2 * m) - 2 * (n - 2) / n) * 4 * m**2 / (4 * m**2 + 5)
    elif power == KINDS[3]:
        one = 2 * (n - 2) ** 2 / (2.3 * n - 4.9)
        edf = one if m == 1 else 5 * n**2 / (4 * m * (n + 3 * m))
    else:
        rest = ((n - 1) ** 2 - 3 * m * (n - 1) + 4 * m**2) / (n - 3) ** 2 if n > 3 else 0.0
        edf = (n - 2) / m * rest
    return max(edf, 1.0)


def powers_of(values: Array, factors: tuple[int, ...]) -> tuple[int, ...]:
    """Return α for each averaging factor; where the means are too few, that of the factor before.

    A row too short to tell at all counts as flicker of the values, between the two extremes.
    """
    found: list[int] = []
    last = KINDS[3]
    for m in factors:
        count = values.size // m
        if count >= _LEAST_TO_TELL:
            last = noise_power(values[: count * m].reshape(count, m).mean(axis=1))
        elif not found and count >= _FEWEST:
            last = min(noise_power(values[: count * m].reshape(count, m).mean(axis=1)), last)
        found.append(last)
    return tuple(found)


def interval(deviation: Array, dof: Array, probability: float) -> tuple[Array, Array]:
    """Return lower and upper ends of the interval that holds the true deviation.

    Notes
    -----
    dof·s²/σ² follows the chi-square distribution (SP 1065, 5.4); equal parts outside either end.
    """
    tail = (1 - probability) / 2
    low = deviation * np.sqrt(dof / special.chdtri(dof, tail))
    high = deviation * np.sqrt(dof / special.chdtri(dof, 1 - tail))
    return np.asarray(low), np.asarray(high)
