"""Temperature coefficient against the room, and drift corrected for it."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.allan_confidence import noise_power
from sequencer.numerics.checks import Array, not_negative
from sequencer.numerics.drift import correlated_residuals
from sequencer.numerics.minutes import MinuteMeans

#: The time constants tried for a unit that follows the room late, s.
_LAGS_S = (0.0, 120.0, 300.0, 600.0, 1200.0, 2400.0, 3600.0, 5400.0)
#: Powers of time that the unit's own drift may need: straight and bent once, twice, three times.
_BENDS = (2, 3, 4)
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
        Half of the width over which the value goes with lags that the means can't tell from the
        best one. That one lies anywhere within, mostly near an end, as the value grows with the
        lag: twice the greater distance would be wider than the bounds are (JCGM 100, 4.3.8).
    lag_s
        Time constant with which the output follows.
    span_k
        Range of the room's temperature, as the output follows it, K.
    followed
        That temperature at the output's means, °C.
    corrected
        The means with the room's part taken off, referred to the room at the start.
    likely
        Every lag (and bend of the own drift) that the means can't tell from the best one, which is
        among them.
    """

    value: float
    u: float
    dof: float
    half_width_lag: float
    lag_s: float
    span_k: float
    followed: Array
    corrected: MinuteMeans
    likely: tuple["LikelyLag", ...] = ()


@dataclass(frozen=True, slots=True)
class LikelyLag:
    """One way of following the room that the means allow.

    Attributes
    ----------
    weight
        Likelihood over that of the best one: 1 and less.
    value, u
        Coefficient and its standard uncertainty, value unit per kelvin.
    followed
        Shape of the means: the room as the output would follow it, °C.
    """

    weight: float
    value: float
    u: float
    followed: Array


def temperature_coefficient(
    minutes: MinuteMeans, ambient: MinuteMeans, lag_s: float | None = 0.0
) -> TemperatureCoefficient:
    """Fit a + rate·time + bend·time² + … + coefficient·room temperature, or changes of the same.

    A unit that still settles does not drift in a straight line: without the bend its curve would
    be laid to the room's, which is bent as well. Further powers of time come in while they make the
    residuals significantly smaller.

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
    if lag_s is not None:
        not_negative("lag behind the room", lag_s)
    room = np.interp(minutes.time, ambient.time, ambient.mean)
    if np.ptp(room) <= _NOISE_RANGE * float(np.median(ambient.u)):
        raise FigureError(
            f"temperature coefficient: the room changed by {np.ptp(room):.3g} K, no more than its "
            "thermometer's noise. Let the room change, or leave this figure out."
        )
    choices = _LAGS_S if lag_s is None else (lag_s,)
    rooms = {lag: _lagged(minutes.time, room, lag) for lag in choices}
    try:
        best, others = _best(minutes, rooms, _fit)
        walks = noise_power(best.residuals) <= _FLICKER
    except FigureError:
        if minutes.mean.size < _LEAST_FOR_CHANGES:
            raise
        walks = True
    if walks and minutes.mean.size >= _LEAST_FOR_CHANGES:
        best, others = _best(minutes, rooms, _fit_changes)
    _, dof, factor = correlated_residuals(best.residuals, unknowns=best.unknowns)
    return TemperatureCoefficient(
        value=best.coefficient,
        u=best.u_white * factor,
        dof=max(dof - (lag_s is None), 1.0),
        half_width_lag=float(np.ptp([one.coefficient for one in (best, *others)])) / 2,
        lag_s=best.lag_s,
        followed=best.room,
        span_k=float(np.ptp(best.room)),
        corrected=without_room(minutes, best.coefficient, best.room),
        likely=tuple(
            LikelyLag(_weight(one, best), one.coefficient, one.u_white * factor, one.room)
            for one in (best, *others)
        ),
    )


def without_room(minutes: MinuteMeans, coefficient: float, room: Array) -> MinuteMeans:
    """Return means less what follows the room, referred to the room at the start.

    Parameters
    ----------
    coefficient
        Value unit per kelvin.
    room
        Shape of the means, °C: the room as the output follows it.
    """
    return replace(minutes, mean=minutes.mean - coefficient * (room - room[0]))


def _best(
    minutes: MinuteMeans, rooms: dict[float, Array], fit: Callable[..., "_Fit"]
) -> tuple["_Fit", tuple["_Fit", ...]]:
    """Return the fit that describes the means best, and the others that are as likely.

    A unit that settles is no parabola either: a further bend is taken in while it makes the sum of
    squares significantly smaller. Likely: within two standard deviations, where the sum of squares
    has grown by four variances of one independent residual.
    """
    fits = [fit(minutes, room, lag, _BENDS[0]) for lag, room in rooms.items()]
    best = min(fits, key=_sum_of_squares)
    for bends in _BENDS[1:]:
        try:
            more = [fit(minutes, room, lag, bends) for lag, room in rooms.items()]
        except FigureError:
            break
        better = min(more, key=_sum_of_squares)
        fits += more
        if _sum_of_squares(best) <= _sum_of_squares(better) * _likely(better):
            break
        best = better
    most = _sum_of_squares(best) * _likely(best)
    return best, tuple(
        one
        for one in fits
        if one is not best and one.bends <= best.bends + 1 and _sum_of_squares(one) <= most
    )


def _weight(fit: "_Fit", best: "_Fit") -> float:
    """Return the likelihood of a fit over that of the best: exp(−Δχ²/2)."""
    more = _sum_of_squares(fit) / _sum_of_squares(best) - 1
    return float(np.exp(-2 * more / (_likely(best) - 1)))


def _sum_of_squares(fit: "_Fit") -> float:
    return float(fit.residuals @ fit.residuals)


def _likely(fit: "_Fit") -> float:
    """Return the factor by which the sum of squares of a fit that is as likely may be greater."""
    tau, _, _ = correlated_residuals(fit.residuals, unknowns=fit.unknowns)
    return 1 + 4 / max(fit.residuals.size / tau - fit.unknowns, 1.0)


def _fit_changes(minutes: MinuteMeans, room: Array, lag_s: float, bends: int) -> "_Fit":
    """Fit changes between neighbours: (rate + bends)·dt + coefficient·change of the room."""
    t = minutes.time - minutes.time.mean()
    dt, dr, dy = np.diff(t), np.diff(room), np.diff(minutes.mean)
    weight = 1 / np.sqrt(dt)  # a walk's change has a variance in proportion to the time
    middle = (t[1:] + t[:-1]) / 2 / float(np.abs(t).max())
    drift = np.column_stack([dt * weight * middle**power for power in range(bends)])
    return _solved(drift, dr * weight, dy * weight, _Row(room, lag_s, bends))


@dataclass(frozen=True, slots=True)
class _Row:
    """The room as the output follows it with a lag, and how often its own drift may bend."""

    room: Array
    lag_s: float
    bends: int


@dataclass(frozen=True, slots=True)
class _Fit:
    coefficient: float
    u_white: float
    residuals: Array
    unknowns: int
    row: _Row

    @property
    def room(self) -> Array:
        return self.row.room

    @property
    def lag_s(self) -> float:
        return self.row.lag_s

    @property
    def bends(self) -> int:
        return self.row.bends


def _fit(minutes: MinuteMeans, room: Array, lag_s: float, bends: int) -> _Fit:
    t = minutes.time - minutes.time.mean()
    t = t / np.abs(t).max()
    drift = np.column_stack([t**power for power in range(bends + 1)])
    return _solved(drift, room - room.mean(), minutes.mean, _Row(room, lag_s, bends))


def _solved(drift: Array, follows: Array, y: Array, row: _Row) -> _Fit:
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
    return _Fit(float(solution[-1]), u, residuals, design.shape[1], row)


def _lagged(time: Array, room: Array, lag_s: float) -> Array:
    """Return the room temperature as a first-order lag follows it, starting in balance."""
    if lag_s <= 0:
        return room
    followed = room.copy()
    for i in range(1, room.size):
        share = 1 - np.exp(-(time[i] - time[i - 1]) / lag_s)
        followed[i] = followed[i - 1] + share * ((room[i] + room[i - 1]) / 2 - followed[i - 1])
    return followed
