"""How many independent readings a row of correlated ones is worth."""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array, Values, not_negative, series

#: Fewer readings than this can't show an autocorrelation.
LEAST_READINGS = 4


@dataclass(frozen=True, slots=True)
class Effective:
    """Mean of correlated readings.

    Attributes
    ----------
    readings, effective
        How many there are, and how many independent ones would say as much about the mean.
    mean, sd
        In the readings' unit; `sd` of one reading, corrected for the correlation.
    u_mean
        sd/√effective.
    dof
        Degrees of freedom of `u_mean`, at least 1.
    correlation_time
        Integrated autocorrelation time in readings: readings/effective.
    """

    readings: int
    effective: float
    mean: float
    sd: float
    u_mean: float
    dof: float
    correlation_time: float


def autocorrelation(values: Values, lags: int | None = None) -> Array:
    """Return the autocorrelation of evenly spaced values about their mean, from lag 0.

    Parameters
    ----------
    values
        Shape (n,), any unit, evenly spaced in time.
    lags
        Number of lags beside lag 0; all where None.

    Returns
    -------
    Array
        Shape (lags + 1,), first entry 1; the biased estimate (divided by n at every lag).

    Raises
    ------
    FigureError
        For fewer than 4 values, not finite ones, or values all alike.

    Notes
    -----
    Priestley, Spectral Analysis and Time Series, 5.3; computed by fast Fourier transform.
    """
    x = series("readings", values, LEAST_READINGS)
    if lags is not None:
        not_negative("lags", lags)
    centred = x - x.mean()
    power = float(centred @ centred)
    if power <= (1e-14 * float(np.abs(x).max())) ** 2 * x.size:
        raise FigureError(
            f"readings: all {x.size} are {x[0]:g}; their scatter and correlation are unknown. "
            "State the resolution, or take readings with more digits."
        )
    length = fft.next_fast_len(2 * x.size)
    spectrum = fft.rfft(centred, length)
    covariance = fft.irfft(spectrum * np.conj(spectrum), length)[: x.size]
    wanted = x.size if lags is None else min(lags + 1, x.size)
    return np.asarray(covariance[:wanted] / power, dtype=np.float64)


def correlation_time(values: Values, unknowns: int = 1) -> float:
    """Return the integrated autocorrelation time 1 + 2Σρ in readings, at least 1.

    The sum ends where the sum of two neighbouring autocorrelations is no longer positive, kept
    from rising. Then it is corrected for the mean having been taken from the same readings, which
    pulls every ρ down by about τ/n.

    Parameters and errors as `autocorrelation`; `unknowns` is how many parameters were fitted to the
    readings before (1: their mean).

    Notes
    -----
    C. J. Geyer, "Practical Markov chain Monte Carlo", Statistical Science 7 (1992) 473, initial
    monotone sequence. Correction: G. H. Priestley as above, 5.3.4 (bias −τ/n at each lag).
    """
    rho = autocorrelation(values)
    if not unknowns >= 1:
        raise FigureError(f"unknowns: found {unknowns:g}, expected at least 1, the mean.")
    n = rho.size
    pairs = rho[: n - n % 2].reshape(-1, 2).sum(axis=1)
    negative = np.flatnonzero(pairs <= 0)
    used = int(negative[0]) if negative.size else pairs.size
    if used == 0:
        return 1.0
    tau = max(1.0, 2 * float(np.minimum.accumulate(pairs[:used]).sum()) - 1.0)
    # Each of the 2·used lags summed twice was pulled down by tau/n: tau_true = tau + 4·used·tau/n,
    # once for each parameter that was fitted.
    pull = 1 - min(4 * used * unknowns / n, _MOST_PULL)
    return float(min(tau / pull, n / 2))


#: Beyond this share the correction for the mean is no longer small, and no longer a correction.
_MOST_PULL = 0.75


def doubt(tau: float) -> float:
    """Return the divisor of degrees of freedom for a correlation time that is itself estimated.

    1 for independent readings, rising to 2 for strongly correlated ones, where the estimate of τ
    scatters as much as the variance does. Found by simulation (first-order processes).
    """
    return 2 - 1 / tau


def effective_number(values: Values) -> Effective:
    """Return the mean of evenly spaced readings with an uncertainty that knows their correlation.

    Parameters
    ----------
    values
        Shape (n,), any unit.

    Raises
    ------
    FigureError
        For fewer than 4 readings, not finite ones, or readings all alike.

    Notes
    -----
    N. F. Zhang, "Calculation of the uncertainty of the mean of autocorrelated measurements",
    Metrologia 43 (2006) S276. The sample variance is too small by the factor (1 − τ/n) for
    correlated readings (Bayley and Hammersley, J. R. Stat. Soc. Suppl. 8 (1946) 184); degrees of
    freedom: (effective − 1)/(2 − 1/τ), at least 1, see `doubt`.

    Examples
    --------
    White readings are worth what they are; a running mean of five shares its readings.

    >>> import numpy as np
    >>> white = np.random.default_rng(1).standard_normal(2000)
    >>> alike = np.convolve(white, np.ones(5) / 5, mode="valid")
    >>> [round(effective_number(row).correlation_time) for row in (white, alike)]
    [1, 5]
    """
    x = series("readings", values, LEAST_READINGS)
    tau = correlation_time(x)
    effective = x.size / tau
    variance = float(np.var(x)) / (1 - 1 / effective)
    return Effective(
        readings=x.size,
        effective=effective,
        mean=float(x.mean()),
        sd=float(np.sqrt(variance)),
        u_mean=float(np.sqrt(variance / effective)),
        dof=max((effective - 1) / doubt(tau), 1.0),
        correlation_time=tau,
    )
