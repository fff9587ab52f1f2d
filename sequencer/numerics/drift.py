"""Drift over a soak: greatest departures in three definitions, and the rate of a straight line."""

from dataclasses import dataclass

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.effective import correlation_time, doubt
from sequencer.numerics.line import fit_line
from sequencer.numerics.maximum import Maximum, greatest_departure, greatest_span
from sequencer.numerics.minutes import MinuteMeans

#: A rate from fewer means than this says nothing about the correlation of what is left.
_LEAST_FOR_RATE = 6


@dataclass(frozen=True, slots=True)
class Departures:
    """The three definitions of drift, each with the lift by noise taken off.

    Attributes
    ----------
    from_start
        Greatest |mean − first mean|. The first mean's own noise is not in its `u`: it is common to
        all departures and stands in `u_common`.
    span
        Greatest minus least mean.
    about_mean
        Greatest |mean − mean of all|.
    noise_dof
        Degrees of freedom of all the noise.
    time_from_start_s, time_span_s
        Time from the first mean to the greatest departure; between the two ends of the span.
    """

    from_start: Maximum
    span: Maximum
    about_mean: Maximum
    noise_dof: float
    time_from_start_s: float
    time_span_s: float


def departures(minutes: MinuteMeans) -> Departures:
    """Return the greatest departures of one-minute means.

    Parameters
    ----------
    minutes
        From `sequencer.numerics.minutes.minute_means`.

    Raises
    ------
    FigureError
        If there are fewer than two means.

    Notes
    -----
    Definitions as usual in data sheets of DC supplies (departure from the value after warm-up,
    span, ± about the mean): common practice, no source. For the lift of a maximum by noise see
    `sequencer.numerics.maximum`.

    Examples
    --------
    Two hours of a straight 1 mV/h with 20 µV of noise on every reading:

    >>> import numpy as np
    >>> from sequencer.numerics import minute_means
    >>> t = np.arange(7200.0)
    >>> volts = 30 + t * 1e-3 / 3600 + 20e-6 * np.random.default_rng(1).standard_normal(t.size)
    >>> found = departures(minute_means(t, volts))
    >>> f"{found.from_start.value * 1e3:.2f} mV, span {found.span.value * 1e3:.2f} mV"
    '1.98 mV, span 1.98 mV'
    """
    mean, time = minutes.mean, minutes.time
    if mean.size < 2:
        raise FigureError(f"drift: found {mean.size} means, expected at least 2. Soak longer.")
    # A meter without any scatter has u = 0 in every mean: then nothing lifts the maximum.
    noisy = bool(np.all(minutes.u > 0))
    u = minutes.u if noisy else 0.0
    later_u = minutes.u[1:] if noisy else 0.0
    from_start = greatest_departure(
        mean[1:] - mean[0], later_u, in_order=True, u_common=float(minutes.u[0])
    )
    span = greatest_span(mean, u, in_order=True)
    return Departures(
        from_start=from_start,
        span=span,
        about_mean=greatest_departure(mean - mean.mean(), u, in_order=True),
        noise_dof=minutes.noise_dof,
        time_from_start_s=float(time[from_start.index + 1] - time[0]),
        time_span_s=float(abs(time[int(np.argmax(mean))] - time[int(np.argmin(mean))])),
    )


@dataclass(frozen=True, slots=True)
class Rate:
    """Slope of the least-squares line through one-minute means.

    Attributes
    ----------
    rate
        Value unit per second, signed.
    u, dof
        Standard uncertainty as the rate of the unit: what is left over the line is taken as
        chance, with its correlation, so another soak of the same unit would give a rate within it.
    u_of_this_soak
        Standard uncertainty as the slope of this soak alone: only the noise of the means counts.
    correlation_time
        How many means say as much as one independent one.
    """

    rate: float
    u: float
    dof: float
    u_of_this_soak: float
    correlation_time: float


def rate(minutes: MinuteMeans) -> Rate:
    """Return the drift rate with an uncertainty that knows the correlation of the residuals.

    Parameters
    ----------
    minutes
        At least 6 means.

    Raises
    ------
    FigureError
        If there are fewer.

    Notes
    -----
    Variance of an ordinary least-squares slope with correlated residuals: the white-noise one times
    the integrated autocorrelation time, since the regressor (time) varies slowly beside it; degrees
    of freedom (n/τ − 2)/(2 − 1/τ), at least 1. B. D. Santer et al., J. Geophys. Res. 105 (2000)
    7337, use the same with τ of a first-order process.
    """
    if minutes.mean.size < _LEAST_FOR_RATE:
        raise FigureError(
            f"drift rate: found {minutes.mean.size} means, expected at least {_LEAST_FOR_RATE}. "
            "Soak longer."
        )
    centred = minutes.time - minutes.time.mean()
    line = fit_line(centred, minutes.mean)
    residuals = line.residuals(centred, minutes.mean)
    tau, dof, factor = correlated_residuals(residuals, unknowns=2)
    spread = float(centred @ centred)
    noise = float(np.sqrt(np.sum((centred * minutes.u) ** 2)) / spread)
    return Rate(
        rate=line.slope,
        u=max(line.u_slope * factor, noise),
        dof=dof,
        u_of_this_soak=noise,
        correlation_time=tau,
    )


def correlated_residuals(
    residuals: np.ndarray[tuple[int], np.dtype[np.float64]], unknowns: int
) -> tuple[float, float, float]:
    """Return correlation time, degrees of freedom and the factor on a white-noise uncertainty.

    The factor is √τ times the widening for the variance that the fit took out of few independent
    residuals, √((n − p)/(n − p·τ)), where n/τ leaves that many.
    """
    n = residuals.size
    if np.ptp(residuals) <= 1e-15:
        return 1.0, float(n - unknowns), 1.0
    tau = correlation_time(residuals, unknowns)
    left = max(n / tau - unknowns, 1.0)
    factor = float(np.sqrt((n - unknowns) / left))
    return tau, max(left / doubt(tau), 1.0), factor
