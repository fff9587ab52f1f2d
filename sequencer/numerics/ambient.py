"""Temperature coefficient against the room, and drift corrected for it."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.allan_confidence import noise_power
from sequencer.numerics.checks import Array
from sequencer.numerics.drift import correlated_residuals
from sequencer.numerics.minutes import MinuteMeans

#: The time constants tried for a unit that follows the room late, s.
_LAGS_S = (0.0, 120.0, 300.0, 600.0, 1200.0, 2400.0, 3600.0, 5400.0)
_LEAST_MEANS = 10
#: Changes between so few means don't tell a walk from anything.
_LEAST_FOR_CHANGES = 30
#: From flicker on (power −1 and below) levels are correlated over the whole row.
_FLICKER = -1
#: Range of hundreds of means that hold nothing but noise, in standard uncertainties of one.
_NOISE_RANGE = 8.0
#: Correlation of room temperature with time beyond which the two can't be told apart.
_TOO_ALIKE = 0.98


@dataclass(frozen=True, slots=True)
class TemperatureCoefficient:
    """How the output follows the room.

    Attributes
    ----------
    value, u, dof
        Value unit per kelvin, with correlation-aware standard uncertainty of the scatter.
    half_width_lag
        How far the value goes with lags that the means can't tell from the best one.
    lag_s
        Time constant with which the output follows.
    span_k
        Range of the room's temperature, as the output follows it, K.
    followed
        That temperature at the output's means, °C.
    corrected
        The means with the room's part taken off, referred to the room at the start.
    """

    value: float
    u: float
    dof: float
    half_width_lag: float
    lag_s: float
    span_k: float
    followed: Array
    corrected: MinuteMeans


def temperature_coefficient(
    minutes: MinuteMeans, ambient: MinuteMeans, lag_s: float | None = 0.0
) -> TemperatureCoefficient:
    """Fit a + rate·time + bend·time² + coefficient·room temperature, or changes of the same.

    A unit that still settles does not drift in a straight line: without the bend its curve would
    be laid to the room's, which is bent as well.

    Parameters
    ----------
    minutes
        Output, at least 10 means.
    ambient
        Room temperature in °C, over the same time; interpolated to the output's times.
    lag_s
        Time constant of a first-order lag put on the room temperature. None: the one of a fixed
        row from 0 to 90 minutes that leaves the smallest residuals.

    Raises
    ------
    FigureError
        If there are too few means, the room did not change, or it changed so steadily with time
        that its effect can't be told from the unit's own drift.

    Notes
    -----
    Where what the fit leaves flickers or walks, levels say little: a walk looks like any slow
    change of the room. Then the changes from each mean to the next are fitted, in which a walk is
    white (generalised least squares for a random walk: A. C. Aitken, Proc. R. Soc. Edinburgh 55
    (1935) 42). Uncertainty widened for the correlation that is left, as in
    `sequencer.numerics.drift.rate`.
    """
    if minutes.mean.size < _LEAST_MEANS or ambient.mean.size < 2:
        raise FigureError(
            f"temperature coefficient: found {minutes.mean.size} means of the output and "
            f"{ambient.mean.size} of the room, expected at least {_LEAST_MEANS} and 2."
        )
    room = np.interp(minutes.time, ambient.time, ambient.mean)
    if np.ptp(room) <= _NOISE_RANGE * float(np.median(ambient.u)):
        raise FigureError(
            f"temperature coefficient: the room changed by {np.ptp(room):.3g} K, no more than its "
            "thermometer's noise. Let the room change, or leave this figure out."
        )
    choices = _LAGS_S if lag_s is None else (lag_s,)
    rooms = {lag: _lagged(minutes.time, room, lag) for lag in choices}
    try:
        fit, lag, half_width = _best(minutes, rooms, _fit)
        walks = noise_power(fit.residuals) <= _FLICKER
    except FigureError:
        if minutes.mean.size < _LEAST_FOR_CHANGES:
            raise
        walks = True
    if walks and minutes.mean.size >= _LEAST_FOR_CHANGES:
        fit, lag, half_width = _best(minutes, rooms, _fit_changes)
    _, dof, factor = correlated_residuals(fit.residuals, unknowns=fit.unknowns)
    corrected = minutes.mean - fit.coefficient * (fit.room - fit.room[0])
    return TemperatureCoefficient(
        value=fit.coefficient,
        u=fit.u_white * factor,
        dof=max(dof - (lag_s is None), 1.0),
        half_width_lag=half_width,
        lag_s=lag,
        followed=fit.room,
        span_k=float(np.ptp(fit.room)),
        corrected=replace(minutes, mean=corrected),
    )


def _best(
    minutes: MinuteMeans, rooms: dict[float, Array], fit: Callable[[MinuteMeans, Array], "_Fit"]
) -> tuple["_Fit", float, float]:
    """Return the fit with the smallest residuals, its lag, and how far likely lags go from it.

    Likely: within two standard deviations, where the sum of squares has grown by four variances of
    one independent residual.
    """
    fits = [(fit(minutes, room), lag) for lag, room in rooms.items()]
    best, lag = min(fits, key=lambda pair: pair[0].sum_of_squares)
    tau, _, _ = correlated_residuals(best.residuals, unknowns=best.unknowns)
    independent = max(best.residuals.size / tau - best.unknowns, 1.0)
    likely = best.sum_of_squares * (1 + 4 / independent)
    values = [one.coefficient for one, _ in fits if one.sum_of_squares <= likely]
    return best, lag, max(abs(value - best.coefficient) for value in values)


def _fit_changes(minutes: MinuteMeans, room: Array) -> "_Fit":
    """Fit changes between neighbours: (rate + bend·time)·dt + coefficient·change of the room."""
    t = minutes.time - minutes.time.mean()
    dt, dr, dy = np.diff(t), np.diff(room), np.diff(minutes.mean)
    weight = 1 / np.sqrt(dt)  # a walk's change has a variance in proportion to the time
    middle = (t[1:] + t[:-1]) / 2 / float(np.abs(t).max())
    drift = np.column_stack([dt, dt * middle]) * weight[:, None]
    return _solved(drift, dr * weight, dy * weight, room)


@dataclass(frozen=True, slots=True)
class _Fit:
    coefficient: float
    u_white: float
    residuals: Array
    room: Array
    unknowns: int

    @property
    def sum_of_squares(self) -> float:
        """What the fit leaves."""
        return float(self.residuals @ self.residuals)


def _fit(minutes: MinuteMeans, room: Array) -> _Fit:
    t = minutes.time - minutes.time.mean()
    t = t / np.abs(t).max()
    drift = np.column_stack([np.ones(t.size), t, t**2])
    return _solved(drift, room - room.mean(), minutes.mean, room)


def _solved(drift: Array, follows: Array, y: Array, room: Array) -> _Fit:
    """Fit y to the columns of the drift and to what follows the room."""
    along, *_ = np.linalg.lstsq(drift, follows, rcond=None)
    own = follows - drift @ along
    size = float(follows @ follows)
    alike = float(np.sqrt(max(1 - float(own @ own) / size, 0.0))) if size > 0 else 1.0
    if not alike < _TOO_ALIKE:
        raise FigureError(
            f"temperature coefficient: the room's temperature runs with time (correlation "
            f"{alike:.3f}), so its effect can't be told from the unit's own drift. Soak over a "
            "full swing of the room's temperature."
        )
    design = np.column_stack([drift, follows])
    inverse = np.linalg.inv(design.T @ design)
    solution = inverse @ design.T @ y
    residuals = y - design @ solution
    variance = float(residuals @ residuals) / (y.size - design.shape[1])
    u = float(np.sqrt(variance * inverse[-1, -1]))
    return _Fit(float(solution[-1]), u, residuals, room, design.shape[1])


def _lagged(time: Array, room: Array, lag_s: float) -> Array:
    """Return the room temperature as a first-order lag follows it, starting in balance."""
    if lag_s <= 0:
        return room
    followed = room.copy()
    for i in range(1, room.size):
        share = 1 - np.exp(-(time[i] - time[i - 1]) / lag_s)
        followed[i] = followed[i - 1] + share * ((room[i] + room[i - 1]) / 2 - followed[i - 1])
    return followed
