"""An exponential approach to an end value: discharge of an output, heating of a heatsink."""

from dataclasses import dataclass
from math import log, sqrt

import numpy as np
from scipy import optimize

from sequencer.errors import FigureError
from sequencer.numerics.checks import (
    Array,
    Values,
    matching,
    measured,
    positive,
    rising_times,
    varying,
)
from sequencer.numerics.drift import correlated_residuals

_LEAST = 8
_UNKNOWNS = 3
#: Time constants looked at, as parts of the time between two readings and of the whole time.
_SHORTEST, _LONGEST = 0.3, 30.0
_SCAN = 60
#: The part of the way that has to be seen before its end is known, and before it has begun.
_LEAST_OF_THE_WAY = 0.8
#: Step of a derivative by τ, relative.
_SMALL = 1e-4
#: Positions of a wander's first value that are tried; the result is smooth in it.
_PHASES = 8
#: The swing has to stand out of the scatter by this factor.
_LEAST_SWING = 5.0


@dataclass(frozen=True, slots=True)
class Decay:
    """The fitted curve y = end + swing·exp(−(t − t₀)/τ), t₀ the first time.

    Attributes
    ----------
    time_constant_s, u_time_constant_s
        τ and its standard uncertainty, from the scatter with its correlation.
    end, u_end
        The value approached.
    swing, u_swing
        The distance from it at the first time.
    residual_sd, slow_sd
        Scatter about the curve; the part of it that neighbours share.
    dof
        Degrees of freedom of the uncertainties.
    widened
        Factor of all uncertainties over those of white scatter, for its correlation.
    covariance
        Of `end` with `time_constant_s`: a fall that was not seen to its end leaves both unsure
        together.
    """

    time_constant_s: float
    u_time_constant_s: float
    end: float
    u_end: float
    swing: float
    u_swing: float
    residual_sd: float
    dof: float
    widened: float = 1.0
    covariance: float = 0.0
    slow_sd: float = 0.0

    def u_of(self, per_end: float, per_second: float) -> float:
        """Return the standard uncertainty of what changes so with `end` and `time_constant_s`."""
        variance = (per_end * self.u_end) ** 2 + (per_second * self.u_time_constant_s) ** 2
        return sqrt(max(variance + 2 * per_end * per_second * self.covariance, 0.0))

    def time_between(self, first: float, second: float) -> tuple[float, float]:
        """Return how long the curve takes from one value to another, and its uncertainty, s.

        Raises
        ------
        FigureError
            If the curve does not pass both in this order: it ends before.
        """
        start, stop = first - self.end, second - self.end
        if not (start * stop > 0 and abs(stop) < abs(start)):
            raise FigureError(
                f"time to {second:g}: the curve from {first:g} ends at {self.end:.4g} and does not "
                "pass it. Choose a value on its way."
            )
        way = log(start / stop)
        by_end = self.time_constant_s * (1 / stop - 1 / start)
        return self.time_constant_s * way, self.u_of(by_end, way)


def fit_decay(times: Values, values: Values, *, follows: Values | None = None) -> Decay:
    """Fit an exponential approach by least squares.

    Parameters
    ----------
    times
        Shape (n,), n at least 8, seconds, rising; may have gaps.
    values
        Shape (n,), any unit, all with the same scatter.
    follows
        Shape (n,), the values' unit: surroundings that change meanwhile and are followed with the
        same τ, such as the room by a heatsink. The end is then how far above them. None: still.

    Raises
    ------
    FigureError
        For too few values, values not finite or all alike, overload markers, times that do not
        rise, a swing that does not stand out of the scatter, or less than 80 % of the way measured:
        then end and time constant can't be told apart.

    Notes
    -----
    For each τ the curve is linear in end and swing (variable projection: G. H. Golub, V. Pereyra,
    SIAM J. Numer. Anal. 10 (1973) 413), so only τ is searched. Covariance from the Jacobian,
    widened for the correlation of what is left as in `sequencer.numerics.drift.rate`.

    Examples
    --------
    >>> import numpy as np
    >>> t = np.arange(0, 5, 0.1)
    >>> noise = 1e-3 * np.random.default_rng(1).standard_normal(t.size)
    >>> found = fit_decay(t, 30 * np.exp(-t / 1.03) + noise)
    >>> abs(found.time_constant_s - 1.03) < 3 * found.u_time_constant_s < 1e-3
    True
    """
    t = rising_times(times, _LEAST)
    y = varying("values", measured(matching("values", values, "times", t), "values", ""))
    t = t - t[0]
    step, whole = float(np.diff(t).min()), float(t[-1])
    around = None
    if follows is not None:
        around = measured(matching("surroundings", follows, "times", t), "surroundings", "")

    def still(tau: float) -> Array:
        """Return the values as they would be in surroundings that stay."""
        return y if around is None else y - followed(t, around, tau)

    def linear(tau: float) -> tuple[Array, Array]:
        design = np.column_stack([np.ones(t.size), np.exp(-t / tau)])
        above = still(tau)
        solution, *_ = np.linalg.lstsq(design, above, rcond=None)
        return np.asarray(solution), np.asarray(above - design @ solution)

    def cost(log_tau: float) -> float:
        rest = linear(float(np.exp(log_tau)))[1]
        return float(rest @ rest)

    scan = np.linspace(log(_SHORTEST * step), log(_LONGEST * whole), _SCAN)
    best = int(np.argmin([cost(float(one)) for one in scan]))
    low, high = scan[max(best - 1, 0)], scan[min(best + 1, _SCAN - 1)]
    found = optimize.minimize_scalar(
        cost, bounds=(float(low), float(high)), method="bounded", options={"xatol": 1e-10}
    )
    tau = float(np.exp(found.x))
    (end, swing), rest = linear(tau)
    fall = np.exp(-t / tau)
    part = float(1 - fall[-1])
    scatter = sqrt(float(rest @ rest) / (t.size - _UNKNOWNS))
    if abs(swing) * part < _LEAST_SWING * scatter:
        raise FigureError(
            f"exponential: the values change by {abs(swing) * part:.3g} with a scatter of "
            f"{scatter:.3g} about the curve; that is no curve to fit. Measure a greater change."
        )
    if part < _LEAST_OF_THE_WAY:
        raise FigureError(
            f"exponential: {part:.0%} of the way was measured, expected at least "
            f"{_LEAST_OF_THE_WAY:.0%}: its end is unknown, and so is its time constant. Measure "
            "longer."
        )
    by_tau = swing * t / tau**2 * fall
    if around is not None:
        by_tau += (still(tau) - still(tau * (1 + _SMALL))) / (tau * _SMALL)
    jacobian = np.column_stack([np.ones(t.size), fall, by_tau])
    _, dof, factor = correlated_residuals(rest, _UNKNOWNS)
    inverse = np.linalg.inv(jacobian.T @ jacobian)
    u = scatter * factor * np.sqrt(np.diag(inverse))
    return Decay(
        time_constant_s=tau,
        u_time_constant_s=float(u[2]),
        end=float(end),
        u_end=float(u[0]),
        swing=float(swing),
        u_swing=float(u[1]),
        residual_sd=scatter,
        slow_sd=sqrt(max(float(np.var(rest)) - float(np.mean(np.diff(rest) ** 2)) / 2, 0.0)),
        dof=dof,
        widened=factor,
        covariance=float((scatter * factor) ** 2 * inverse[0, 2]),
    )


def followed(times: Array, course: Array, time_constant_s: float) -> Array:
    """Return what follows a course with one time constant, from its first value on.

    Parameters
    ----------
    times, course
        Shape (n,), s and any unit; the course is straight from one value to the next, for which the
        result is exact.
    """
    spans = np.diff(times)
    decays = np.exp(-spans / time_constant_s)
    behind = np.diff(course) / spans * time_constant_s
    late = 0.0  # how far it lags behind the course's own value
    found = np.empty(course.size)
    found[0] = course[0]
    for at, (decay, lag, now) in enumerate(zip(decays, behind, course[1:], strict=True), 1):
        late = lag + (late - lag) * decay
        found[at] = now - late
    return found


@dataclass(frozen=True, slots=True)
class Sway:
    """What power that wanders makes of a fitted approach, over what it is of the mean power.

    Attributes
    ----------
    end, time_constant
        Standard deviations of the fitted end and of τ, relative.
    later
        That of the difference between τ of the later part alone and of the whole, over τ.
    """

    end: float
    time_constant: float
    later: float


def sway(
    times: Values, time_constant_s: float, *, used: Values, later: Values, every_s: float
) -> Sway:
    """Return how power that wanders moves end and τ of what it warms.

    Parameters
    ----------
    times
        Shape (n,), seconds, rising, from the power's coming on.
    time_constant_s
        τ of what is warmed.
    used, later
        Shape (n,), true where the whole curve and its later part are fitted.
    every_s
        The power is straight between independent values so far apart.

    Raises
    ------
    FigureError
        For times that do not rise, or a time or a τ that is not above zero.

    Notes
    -----
    To first order: least squares' linear operator on what each of these values adds, over all
    positions that the first of them may have (JCGM 102:2011, 6.2.1.3).
    """
    t = rising_times(times, _LEAST)
    tau, apart = positive("time constant", time_constant_s), positive("wander", every_s)
    whole = _operator(t, tau, np.asarray(used, dtype=bool))
    late = _operator(t, tau, np.asarray(later, dtype=bool))
    rows = np.array([whole[0], whole[1] / tau, (late[1] - whole[1]) / tau])
    squares = np.zeros(rows.shape[0])
    for phase in np.arange(_PHASES) / _PHASES:
        position = (t - t[0]) / apart + phase
        for node in range(int(position[-1]) + 2):
            power = np.maximum(1.0 - np.abs(position - node), 0.0)
            warmed = followed(t, power, tau) - power[0] * np.exp(-(t - t[0]) / tau)
            squares += (rows @ warmed) ** 2 / _PHASES
    end, time_constant, difference = np.sqrt(squares)
    return Sway(float(end), float(time_constant), float(difference))


def _operator(t: Array, tau: float, used: Array) -> Array:
    """Return what each value, fitted or not, moves end and τ by, of an approach by one.

    Shape (2, n).
    """
    fall = np.exp(-(t - t[0]) / tau)
    jacobian = np.column_stack([np.ones(t.size), -fall, -(t - t[0]) / tau**2 * fall])
    found = np.zeros((2, t.size))
    found[:, used] = np.linalg.pinv(jacobian[used])[[0, 2]]
    return found
