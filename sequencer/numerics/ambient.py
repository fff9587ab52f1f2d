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
        Value unit per kelvin, with correlation-aware standard uncertainty.
    lag_s
        Time constant with which the output follows.
    span_k
        Range of the room's temperature, as the output follows it, K.
    corrected
        The means with the room's part taken off, referred to the room at the start.
    """

    value: float
    u: float
    dof: float
    lag_s: float
    span_k: float
    corrected: MinuteMeans


def temperature_coefficient(
    minutes: MinuteMeans, ambient: MinuteMeans, lag_s: float | None = 0.0
) -> TemperatureCoefficient:
    """Fit mean = a + rate·time + coefficient·room temperature, or the same between neighbours.

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
        fit, lag = _best(minutes, rooms, _fit)
        walks = noise_power(fit.residuals) <= _FLICKER
        unknowns = 3
    except FigureError:
        if minutes.mean.size < _LEAST_FOR_CHANGES:
            raise
        walks = True
    if walks and minutes.mean.size >= _LEAST_FOR_CHANGES:
        fit, lag = _best(minutes, rooms, _fit_changes)
        unknowns = 2
    tau, dof, factor = correlated_residuals(fit.residuals, unknowns=unknowns)
    del tau
    corrected = minutes.mean - fit.coefficient * (fit.room - fit.room[0])
    return TemperatureCoefficient(
        value=fit.coefficient,
        u=fit.u_white * factor,
        dof=max(dof - (lag_s is None), 1.0),
        lag_s=lag,
        span_k=float(np.ptp(fit.room)),
        corrected=replace(minutes, mean=corrected),
    )


def _best(
    minutes: MinuteMeans, rooms: dict[float, Array], fit: Callable[[MinuteMeans, Array], "_Fit"]
) -> tuple["_Fit", float]:
    """Return the fit with the smallest residuals, and its lag."""
    fits = [(fit(minutes, room), lag) for lag, room in rooms.items()]
    return min(fits, key=lambda pair: float(pair[0].residuals @ pair[0].residuals))


def _fit_changes(minutes: MinuteMeans, room: Array) -> "_Fit":
    """Fit the changes between neighbours: rate·time + coefficient·change of the room."""
    dt, dr, dy = np.diff(minutes.time), np.diff(room), np.diff(minutes.mean)
    weight = 1 / np.sqrt(dt)  # a walk's change has a variance in proportion to the time
    design = np.column_stack([dt, dr]) * weight[:, None]
    gram = design.T @ design
    alike = abs(gram[0, 1]) / float(np.sqrt(gram[0, 0] * gram[1, 1]))
    if not alike < _TOO_ALIKE:
        raise FigureError(
            f"temperature coefficient: the room's temperature runs with time (correlation "
            f"{alike:.3f}), so its effect can't be told from the unit's own drift. Soak over a "
            "full swing of the room's temperature."
        )
    inverse = np.linalg.inv(gram)
    solution = inverse @ design.T @ (dy * weight)
    residuals = dy * weight - design @ solution
    variance = float(residuals @ residuals) / (dt.size - 2)
    return _Fit(float(solution[1]), float(np.sqrt(variance * inverse[1, 1])), residuals, room)


@dataclass(frozen=True, slots=True)
class _Fit:
    coefficient: float
    u_white: float
    residuals: Array
    room: Array


def _fit(minutes: MinuteMeans, room: Array) -> _Fit:
    t = minutes.time - minutes.time.mean()
    t = t / np.abs(t).max()
    centred = room - room.mean()
    size = float(np.sqrt(centred @ centred) * np.sqrt(t @ t))
    alike = abs(float(centred @ t)) / size if size > 0 else 1.0
    if alike > _TOO_ALIKE:
        raise FigureError(
            f"temperature coefficient: the room's temperature runs with time (correlation "
            f"{alike:.3f}), so its effect can't be told from the unit's own drift. Soak over a "
            "full swing of the room's temperature."
        )
    design = np.column_stack([np.ones(t.size), t, centred])
    inverse = np.linalg.inv(design.T @ design)
    solution = inverse @ design.T @ minutes.mean
    residuals = minutes.mean - design @ solution
    variance = float(residuals @ residuals) / (t.size - 3)
    return _Fit(float(solution[2]), float(np.sqrt(variance * inverse[2, 2])), residuals, room)


def _lagged(time: Array, room: Array, lag_s: float) -> Array:
    """Return the room temperature as a first-order lag follows it, starting in balance."""
    if lag_s <= 0:
        return room
    followed = room.copy()
    for i in range(1, room.size):
        share = 1 - np.exp(-(time[i] - time[i - 1]) / lag_s)
        followed[i] = followed[i - 1] + share * ((room[i] + room[i - 1]) / 2 - followed[i - 1])
    return followed
