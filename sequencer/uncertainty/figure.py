"""Build a `Figure` from value and budget, so that every figure states its U in the same way."""

import math
from collections.abc import Mapping, Sequence

from sequencer.errors import FigureError
from sequencer.results import Component, Figure
from sequencer.uncertainty.combine import combine


def make_figure(
    trial: str,
    name: str,
    value: float,
    unit: str,
    components: Sequence[Component],
    *,
    reached: Mapping[str, float] | None = None,
    notes: Sequence[str] = (),
    points: Sequence[Figure] = (),
    points_by: str = "",
) -> Figure:
    """Return the figure with u, effective degrees of freedom, k for 95.45 % and U.

    Parameters
    ----------
    value
        SI unit named by `unit`.
    components
        The budget; those that contribute nothing are left out of the figure.
    reached
        The condition really measured, keys as in `Figure.reached`.
    points, points_by
        The same over other conditions, and in which quantity these differ.

    Raises
    ------
    FigureError
        If the value is no finite number, or the budget is empty or all zero.
    """
    if not math.isfinite(value):
        raise FigureError(
            f"{name}: computed {value}, expected a finite number. A reading it depends on is "
            "missing or overflowed."
        )
    try:
        total = combine(components)
    except FigureError as error:
        raise FigureError(f"{name}: {error}") from error
    return Figure(
        trial=trial,
        name=name,
        value=float(value),
        unit=unit,
        u=total.u,
        dof=total.dof,
        k=total.k,
        expanded=total.expanded,
        reached=dict(reached or {}),
        budget=tuple(c for c in components if c.contribution > 0),
        notes=tuple(notes),
        points=tuple(points),
        points_by=points_by if points else "",
    )
