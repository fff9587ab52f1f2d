"""Differences from one reference, put together from groups that are compared with one another."""

from collections.abc import Sequence
from dataclasses import replace
from math import inf

import numpy as np

from sequencer.errors import FigureError
from sequencer.numerics.pairs import LevelDifferences


def chained(groups: Sequence[LevelDifferences]) -> LevelDifferences:
    """Return the differences of all levels from the first group's reference.

    Parameters
    ----------
    groups
        Each one's reference is a level of one before; other levels are in one group only.

    Raises
    ------
    FigureError
        When a group's reference was not visited before.

    Notes
    -----
    Formula: D(f) = D_n(f) + D(m_n) with m_n the n-th group's reference, so the covariance is that
    of both, and levels of different groups share what their links have in common. Degrees of
    freedom of a level: Welch–Satterthwaite (GUM, G.4.1) over its own group's and its links'
    variances; those of the level that has fewest stand for all.

    Examples
    --------
    A level of 2 is 3 below no load, and a level of 3 is 1 below that of 2:

    >>> from sequencer.numerics.pairs import bracketed_differences
    >>> low = bracketed_differences([0, 1, 2, 3, 4], [0, 2, 0, 2, 0], [9, 6, 9, 6, 9.0], 0)
    >>> high = bracketed_differences([5, 6, 7, 8, 9], [2, 3, 2, 3, 2], [6, 5, 6, 5, 6.0], 2)
    >>> [float(one) for one in chained([low, high]).differences]
    [0.0, -3.0, -4.0]
    """
    first = groups[0]
    parts = [[(float(u) ** 2, first.dof)] for u in first.u]
    levels, values, covariance = first.levels, first.differences, first.covariance
    for group in groups[1:]:
        found = np.flatnonzero(np.isclose(levels, group.reference, rtol=0.0, atol=1e-12))
        if found.size != 1:
            raise FigureError(
                f"The level {group.reference:g}, which others are compared with, was not compared "
                "with no load itself."
            )
        link = int(found[0])
        own = ~np.isclose(group.levels, group.reference, rtol=0.0, atol=1e-12)
        before, count = levels.size, int(np.sum(own))
        grown = np.zeros((before + count, before + count))
        grown[:before, :before] = covariance
        grown[before:, :before] = covariance[link]
        grown[:before, before:] = covariance[:, [link]]
        grown[before:, before:] = group.covariance[np.ix_(own, own)] + covariance[link, link]
        levels = np.concatenate([levels, group.levels[own]])
        values = np.concatenate([values, group.differences[own] + values[link]])
        parts += [[*parts[link], (float(u) ** 2, group.dof)] for u in group.u[own]]
        covariance = grown
    order = np.argsort(levels)
    covariance = covariance[np.ix_(order, order)]
    return replace(
        first,
        levels=levels[order],
        differences=values[order],
        u=np.sqrt(np.diag(covariance)),
        covariance=covariance,
        dof=min(_effective(one) for one in parts),
        drift_over_visit=sum(group.drift_over_visit for group in groups),
        residual_sd=max(group.residual_sd for group in groups),
        residual_drift=max(group.residual_drift for group in groups),
    )


def _effective(parts: Sequence[tuple[float, float]]) -> float:
    """Return the degrees of freedom of a sum of variances; infinite where all are zero."""
    lower = sum(variance**2 / dof for variance, dof in parts)
    return sum(variance for variance, _ in parts) ** 2 / lower if lower > 0.0 else inf
