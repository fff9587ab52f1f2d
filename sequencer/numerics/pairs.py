"""Differences between load levels from points visited up and down, with drift removed.

A unit under load drifts while it is measured. Points visited in an order such as A B A, or up and
down again, let a drift that is a polynomial in time be told from the effect of the level.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import FigureError
from sequencer.numerics.bracket_scatter import scatter_covariance
from sequencer.numerics.checks import (
    Array,
    Values,
    deviations,
    matching,
    not_negative,
    rising_times,
    series,
    varying,
)

#: Condition number of the scaled design above which levels and drift can't be told apart.
_WORST_CONDITION = 1e8
#: References through which the drift's curve goes: a cubic.
_NEAR = 4


@dataclass(frozen=True, slots=True)
class LevelDifferences:
    """Value at each level minus the value at the reference level.

    Attributes
    ----------
    levels, differences, u
        Shape (m,), rising levels, the reference included with difference 0 and u 0.
    covariance
        Shape (m, m), of the differences.
    dof
        Degrees of freedom of `u` and `covariance`.
    drift_rate, u_drift_rate
        Linear drift at the middle of the visit, value unit per second.
    drift_over_visit
        Change by the fitted drift from first to last point, value unit.
    residual_sd
        Scatter of single points about levels plus drift, value unit.
    residual_drift
        Greatest mean residual over a run of consecutive points: what drift the model left.
    """

    reference: float
    levels: Array
    differences: Array
    u: Array
    covariance: Array
    dof: float
    drift_rate: float
    u_drift_rate: float
    drift_over_visit: float
    residual_sd: float
    residual_drift: float
    widened: float = 1.0

    def first(self, count: int) -> "LevelDifferences":
        """Return the same of the lowest `count` levels; drift and scatter are those of all."""
        return replace(
            self,
            levels=self.levels[:count],
            differences=self.differences[:count],
            u=self.u[:count],
            covariance=self.covariance[:count, :count],
        )

    def difference(self, level: float) -> tuple[float, float]:
        """Return difference and standard uncertainty at a level.

        Raises
        ------
        FigureError
            If the level was not visited.
        """
        index = _index(self.levels, level)
        return float(self.differences[index]), float(self.u[index])


def drift_free_differences(
    times: Values,
    levels: Values,
    values: Values,
    reference: float,
    *,
    degree: int = 1,
    u_values: Values | float | None = None,
) -> LevelDifferences:
    """Estimate V(level) − V(reference) with one polynomial drift common to all points.

    Parameters
    ----------
    times
        Shape (n,), seconds, rising: the middle of each point's readings.
    levels
        Shape (n,), the level set at each point (A); points of one level carry the same number.
    values
        Shape (n,), the mean reading at each point (V).
    reference
        The level that the others are compared with.
    degree
        Degree of the drift polynomial, 0 to 3; 1 removes a linear drift.
    u_values
        Standard uncertainty of each value from its readings. None: from the residuals. Given: no
        less than that; enlarged where the residuals are larger (`widened`).

    Raises
    ------
    FigureError
        If the reference was not visited, only one level was, there are no more points than
        unknowns, the visiting order can't tell level from drift, or all values are one number
        and no uncertainty is stated.

    Notes
    -----
    Ordinary least squares with one unknown per level and `degree` drift terms. For the order
    A B A with linear drift it is the classical B − (A₁ + A₂)/2 of mass comparison.
    """
    t = rising_times(times, 3)
    x = matching("levels", levels, "times", t)
    y = matching("values", values, "times", t)
    if u_values is None:
        varying("values", y)
    if not 0 <= degree <= 3:
        raise FigureError(f"degree of the drift: found {degree}, expected 0, 1, 2 or 3.")
    distinct = np.unique(x)
    at = _index(distinct, reference)
    if distinct.size < 2:
        raise FigureError(
            f"levels: only {reference:g} was visited; expected at least one other level."
        )
    others = np.delete(distinct, at)
    half = (t[-1] - t[0]) / 2
    scaled = (t - (t[0] + half)) / half
    columns = [np.ones(t.size), *(np.where(x == level, 1.0, 0.0) for level in others)]
    columns += [scaled**power for power in range(1, degree + 1)]
    design = np.column_stack(columns)
    dof = t.size - design.shape[1]
    if dof < 1 and u_values is None:
        raise FigureError(
            f"points: found {t.size} for {design.shape[1]} unknowns ({distinct.size} levels and "
            f"a drift of degree {degree}); expected at least one more. Visit the levels again."
        )
    if dof < 0 or np.linalg.cond(design) > _WORST_CONDITION:
        raise FigureError(
            "visiting order: level and drift can't be told apart. Visit the reference level again "
            "after the others (A B A, or up and down)."
        )
    weights = np.ones(t.size)
    if u_values is not None:
        weights = 1 / deviations("u of the values", u_values, "values", y)
    solution, *_ = np.linalg.lstsq(design * weights[:, None], y * weights, rcond=None)
    residuals = y - design @ solution
    chi_square = float(np.sum((weights * residuals) ** 2))
    inverse = np.linalg.inv((design * weights[:, None]).T @ (design * weights[:, None]))
    if u_values is None:
        scale, nu, widened = chi_square / dof, float(dof), 1.0
    else:
        scale = max(1.0, chi_square / dof) if dof > 0 else 1.0
        nu, widened = (float(dof), float(np.sqrt(scale))) if scale > 1 else (float("inf"), 1.0)
    covariance = inverse * scale
    # The constant is the reference level itself: the other levels' columns are the differences.
    wanted = np.insert(np.arange(1, others.size + 1), at, 0)
    full = covariance[np.ix_(wanted, wanted)].copy()
    full[at, :] = 0.0
    full[:, at] = 0.0
    found = np.array(solution[wanted], dtype=np.float64)
    found[at] = 0.0
    first_drift = 1 + others.size
    drift = solution[first_drift:]
    ends = sum(c * (1 - (-1) ** p) for p, c in enumerate(drift, start=1))
    u_rate = float(np.sqrt(covariance[first_drift, first_drift])) if degree else 0.0
    return LevelDifferences(
        reference=float(reference),
        levels=distinct,
        differences=found,
        u=np.sqrt(np.diag(full)),
        covariance=full,
        dof=nu,
        drift_rate=float(drift[0] / half) if degree else 0.0,
        u_drift_rate=float(u_rate / half),
        drift_over_visit=float(ends),
        residual_sd=float(np.sqrt(residuals @ residuals / dof)) if dof > 0 else 0.0,
        residual_drift=_residual_drift(residuals),
        widened=widened,
    )


def bracketed_differences(
    times: Values,
    levels: Values,
    values: Values,
    reference: float,
    *,
    noise: float | None = None,
) -> LevelDifferences:
    """Estimate V(level) − V(reference) from each point and the reference points around it.

    Each point of another level is compared with the curve through the four reference points around
    it (fewer where there are fewer), so any drift that bends no more than a cubic over three
    brackets cancels, whatever it does over the whole visit.

    Parameters
    ----------
    times, levels, values
        As in `drift_free_differences`; the first and last point are at the reference.
    noise
        Standard uncertainty of one value by the scatter of its own readings; what the brackets
        scatter beyond it counts as the unit's wander. None: all of it counts as noise.

    Raises
    ------
    FigureError
        If a point has no reference point on both sides, no level was visited twice (the scatter
        can't be estimated), or `noise` is not finite or below zero.

    Notes
    -----
    Common practice for slow drift (A B A weighing scheme, here by Lagrange's interpolation of the
    references); no single source. The scatter of one point is pooled over repeats of the same level
    and propagated with the shared references.

    Examples
    --------
    A unit that drifts by 1 mV at each visit and falls by 4 mV under load; order 0, 3 A, 0, 3 A, 0:

    >>> times, levels = [0.0, 10.0, 20.0, 30.0, 40.0], [0.0, 3.0, 0.0, 3.0, 0.0]
    >>> volts = [30.000, 29.997, 30.002, 29.999, 30.004]
    >>> found = bracketed_differences(times, levels, volts, 0.0)
    >>> [round(float(one) * 1e3, 6) for one in found.differences]
    [0.0, -4.0]
    """
    t = rising_times(times, 3)
    x = matching("levels", levels, "times", t)
    y = varying("values", matching("values", values, "times", t))
    if noise is not None:
        not_negative("noise of one value", noise)
    distinct = np.unique(x)
    at = _index(distinct, reference)
    is_reference = x == distinct[at]
    inside = np.flatnonzero(~is_reference)
    references = np.flatnonzero(is_reference)
    if inside.size == 0:
        raise FigureError(f"levels: only {reference:g} was visited; expected at least one other.")
    if references[0] != 0 or references[-1] != t.size - 1:
        raise FigureError(
            f"visiting order: starts at {x[0]:g} and ends at {x[-1]:g}; expected the reference "
            f"level {reference:g} at both ends, so that every point has it on both sides."
        )
    # One row per bracketed point: +1 on the point, minus interpolation weights on its neighbours.
    operator = np.zeros((inside.size, t.size))
    for row, point in enumerate(inside):
        operator[row, point] = 1.0
        near = _around(references, int(point))
        for one in near:
            others = near[near != one]
            operator[row, one] = -np.prod((t[point] - t[others]) / (t[one] - t[others]))
    averaging = np.array([np.where(x[inside] == level, 1.0, 0.0) for level in distinct])
    counts = averaging.sum(axis=1)
    averaging /= np.where(counts > 0, counts, 1)[:, None]
    to_levels = averaging @ operator
    differences = to_levels @ y
    # Residual operator: brackets minus their level's mean; its trace gives the expected sum.
    spread = operator - to_levels[[_index(distinct, level) for level in x[inside]]]
    trace = float(np.sum(spread**2))
    if trace <= 0 or inside.size == distinct.size - 1:
        raise FigureError(
            "points: no level was visited twice, so the scatter is unknown. Visit the levels "
            "again, or use the common drift with stated uncertainties."
        )
    residuals = spread @ y
    covariance, dof = scatter_covariance(t, spread, to_levels, y, noise)
    over_visit, rate, u_rate = _reference_drift(t[references], y[references])
    return LevelDifferences(
        reference=float(reference),
        levels=distinct,
        differences=np.asarray(differences, dtype=np.float64),
        u=np.sqrt(np.diag(covariance)),
        covariance=covariance,
        dof=dof,
        drift_rate=rate,
        u_drift_rate=u_rate,
        drift_over_visit=over_visit,
        residual_sd=float(np.sqrt(residuals @ residuals / trace)),
        residual_drift=_residual_drift(residuals),
    )


def _around(references: NDArray[np.intp], point: int) -> NDArray[np.intp]:
    """Return the references that a point is compared with: two on either side where they are."""
    first = int(np.searchsorted(references, point)) - _NEAR // 2
    first = min(max(first, 0), max(references.size - _NEAR, 0))
    return references[first : first + _NEAR]


def _reference_drift(t: Array, y: Array) -> tuple[float, float, float]:
    """Return the reference's change, mean rate and the rate's uncertainty (NaN: unknown)."""
    over = float(y[-1] - y[0])
    if t.size < 3:
        return over, over / float(t[-1] - t[0]), float("nan")
    centred = t - t.mean()
    rate = float(centred @ y) / float(centred @ centred)
    rest = y - y.mean() - rate * centred
    return over, rate, float(np.sqrt(rest @ rest / (t.size - 2) / (centred @ centred)))


def _index(levels: Array, level: float) -> int:
    """Return the position of a level; refuse one that was not visited."""
    where = np.flatnonzero(np.isclose(levels, level, rtol=1e-9, atol=1e-12))
    if where.size == 0:
        visited = ", ".join(f"{one:g}" for one in levels)
        raise FigureError(f"level {level:g} was not visited; found {visited}. Add it to the plan.")
    return int(where[0])


def _residual_drift(residuals: Array) -> float:
    """Return the greatest |mean| of three consecutive residuals: slow drift shows, scatter less."""
    run = min(3, residuals.size)
    means = np.convolve(residuals, np.ones(run) / run, mode="valid")
    return float(np.abs(means).max()) if series("residuals", residuals, 0).size else 0.0
