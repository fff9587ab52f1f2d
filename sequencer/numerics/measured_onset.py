"""The onset of the limit from the measured points: where the output first leaves its line."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import FigureError
from sequencer.numerics.checks import Array
from sequencer.numerics.limit_figures import (
    LEVEL_SHARE,
    LimitDefinition,
    Quantity,
    coverage,
    pooled,
)
from sequencer.numerics.line import StraightLine

#: Points whose departure lies between these multiples of the onset's carry its current.
_NEAR = (0.3, 2.0)
#: So many points on either side of the crossing are looked at, along the curve.
_REACH = 8
#: A parabola through fewer points than this leaves no scatter to judge by.
_LEAST_NEAR = 6
#: The output comes back where so many points in a row are back by this share of the departure.
_IN_A_ROW = 3
_TURNED = 0.25
#: The voltage weighs twice as much as the current in the order along the curve, so that a limit
#: that folds back keeps its order.
_VOLTAGE_WEIGHT = 2.0


@dataclass(frozen=True, slots=True)
class _Crossing:
    current: float
    u: float
    dof: float
    amperes_per_volt: float


def along(current: Array, voltage: Array) -> NDArray[np.intp]:
    """Return the indices that put points in order along the curve, from no load to the short."""
    reach_i = max(float(np.abs(current).max()), np.finfo(float).tiny)
    reach_v = max(float(np.abs(voltage).max()), np.finfo(float).tiny)
    return np.argsort(current / reach_i - _VOLTAGE_WEIGHT * voltage / reach_v)


def onset(
    current: Array, voltage: Array, level: StraightLine, definition: LimitDefinition
) -> Quantity:
    """Return the current up to which all measured points hold the constant-voltage line.

    Parameters
    ----------
    current, voltage
        Shape (n,), A and V, any order.
    level
        Constant-voltage line, V against I.

    Raises
    ------
    FigureError
        If the output does not follow a straight line up to 80 % of the rated current, or never
        leaves it.

    Notes
    -----
    Scanned from small currents: the first crossing counts, so an early departure is found though
    the output comes back. The current at the departure comes from a parabola, current against the
    departure's logarithm (a straight line where a transistor takes over exponentially), through
    the points near the crossing, else from the two points about it, with the gap between these as
    its uncertainty.
    """
    allowed = definition.departure
    order = along(current, voltage)
    i, v = current[order], voltage[order]
    fall = level.intercept + level.slope * i - v
    outside = np.abs(fall) > allowed
    top = LEVEL_SHARE * definition.rated_current
    early = outside & (i <= top)
    early &= np.cumsum(i > top) == 0
    if early.any():
        worst = int(np.argmax(np.where(early, np.abs(fall), 0.0)))
        raise FigureError(
            f"knee onset: the output does not follow a straight line up to {top:.4g} A: at "
            f"{i[worst]:.4g} A it stands {abs(fall[worst]) * 1e3:.3g} mV off, more than the "
            f"{allowed * 1e3:.3g} mV that count as having left it. Look for oscillation, ripple, "
            "too little voltage before the regulator, or a setting that jumps."
        )
    if not outside.any():
        raise FigureError(
            "knee onset: the output never left its constant-voltage line; the corner was not "
            "reached. Draw more current."
        )
    first = int(np.argmax(outside))
    crossing = _near(i, fall, first, allowed) or _between(i, fall, first, allowed)
    u_line = level.u_at(crossing.current)
    if coverage(level.dof) * u_line > allowed:
        raise FigureError(
            f"knee onset: the constant-voltage line is uncertain by {u_line * 1e3:.2g} mV "
            f"(standard) at {crossing.current:.4g} A, too much to tell a departure of "
            f"{allowed * 1e3:.3g} mV: the points below {top:.4g} A do not lie on a straight line."
        )
    parts = (
        (crossing.u, crossing.dof),
        (abs(crossing.amperes_per_volt) * u_line, level.dof),
    )
    found = pooled(crossing.current, parts)
    return Quantity(found.value, found.u, found.dof, -crossing.amperes_per_volt)


def _near(i: Array, fall: Array, first: int, allowed: float) -> _Crossing | None:
    """Return the crossing by a parabola through the points near it, None where these are few."""
    low = max(first - _REACH, 0)
    high = first + _until_it_turns(fall[first : first + _REACH], _TURNED * allowed)
    x, y = fall[low:high], i[low:high]
    chosen = (x > _NEAR[0] * allowed) & (x < _NEAR[1] * allowed)
    if np.count_nonzero(chosen) < _LEAST_NEAR:
        return None
    x, y = np.log(x[chosen] / allowed), y[chosen]
    if not (x.min() < 0 < x.max()):
        return None
    design = np.column_stack([np.ones(x.size), x, x**2])
    solution, _, rank, _ = np.linalg.lstsq(design, y, rcond=None)
    if rank < design.shape[1]:
        return None
    rest = y - design @ solution
    dof = x.size - design.shape[1]
    variance = float(rest @ rest) / dof
    spread = np.linalg.inv(design.T @ design)
    at, slope = float(solution[0]), float(solution[1]) / allowed
    if not (y.min() <= at <= y.max() and slope > 0):
        return None
    return _Crossing(at, float(np.sqrt(variance * spread[0, 0])), float(dof), slope)


def _until_it_turns(fall: Array, back: float) -> int:
    """Return how many points lead on before the departure shrinks again.

    Both ways of a sweep may alternate, one above the other; so several in a row have to be back.
    """
    top, lower = 0, 0
    for index, one in enumerate(fall):
        if one >= fall[top]:
            top, lower = index, 0
        else:
            lower = lower + 1 if one < fall[top] - back else 0
        if lower == _IN_A_ROW:
            return top + 1
    return int(fall.size)


def _between(i: Array, fall: Array, first: int, allowed: float) -> _Crossing:
    """Return the crossing between the last point inside and the first outside."""
    before, after = max(first - 1, 0), first
    gap = float(i[after] - i[before])
    rise = abs(float(fall[after])) - abs(float(fall[before]))
    part = (allowed - abs(float(fall[before]))) / rise if rise > 0 else 1.0
    at = float(i[before]) + float(np.clip(part, 0.0, 1.0)) * gap
    # Nothing is known of the curve between both points: a rectangle over the gap.
    u = abs(gap) / float(np.sqrt(12.0))
    return _Crossing(at, u, float("inf"), gap / rise if rise > 0 else 0.0)
