"""An uncertainty budget as a table: the largest part first, the many small ones folded together."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sequencer.outputs import words
from sequencer.results import Component, Figure

SMALL_SHARE = 0.01
"""Components below this share of the variance stand in one row together."""
RELATIVE = ("gain", "meter's gain", "shunt")
"""Components whose names begin so are errors in proportion, as no channel states them otherwise."""


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One line of the table, as text."""

    name: str
    distribution: str
    u: str
    sensitivity: str
    contribution: str
    share: str


@dataclass(frozen=True, slots=True)
class Budget:
    """A figure's budget as text; `others` says what is folded, `total` is its last line."""

    rows: tuple[BudgetRow, ...]
    others: BudgetRow | None
    total: str
    largest: str


def budget_table(figure: Figure) -> Budget | None:
    """Return a figure's budget, sorted by contribution; None where the figure has none."""
    parts = sorted(figure.budget, key=lambda part: -_size(part.contribution))
    if not parts:
        return None
    whole = math.hypot(*(_size(part.contribution) for part in parts))
    shares = [(_size(part.contribution) / whole) ** 2 if whole else 0.0 for part in parts]
    small = sum(share < SMALL_SHARE for share in shares)
    shown = len(parts) - small if small > 1 else len(parts)
    rows = tuple(
        _row(part, share, figure.unit)
        for part, share in zip(parts[:shown], shares[:shown], strict=True)
    )
    return Budget(
        rows=rows,
        others=_others(parts[shown:], math.fsum(shares[shown:]), figure.unit),
        total=(
            f"u = {words.quantity(figure.u, figure.unit, 3)}, "
            f"ν = {words.degrees_of_freedom(figure.dof)}, k = {figure.k:.2f}, "
            f"U = {words.quantity(figure.expanded, figure.unit, 3)}"
        ),
        largest=f"{parts[0].name} makes {words.share(shares[0])} of U²",
    )


def _row(part: Component, share: float, figure_unit: str) -> BudgetRow:
    unit = _unit(part, figure_unit)
    finite = math.isfinite(part.dof)
    return BudgetRow(
        name=part.name,
        distribution=part.distribution
        + (f", ν = {words.degrees_of_freedom(part.dof)}" if finite else ""),
        u=words.number(part.u, 2) if unit is None else words.small_quantity(part.u, unit),
        sensitivity=_sensitivity(part.sensitivity, unit, figure_unit),
        contribution=words.small_quantity(part.contribution, figure_unit),
        share=words.share(share),
    )


def _others(parts: Sequence[Component], share: float, unit: str) -> BudgetRow | None:
    if not parts:
        return None
    together = math.hypot(*(_size(part.contribution) for part in parts))
    return BudgetRow(
        name=f"{len(parts)} others, together",
        distribution="",
        u="",
        sensitivity="",
        contribution=words.small_quantity(together, unit),
        share=words.share(share),
    )


def _unit(part: Component, figure_unit: str) -> str | None:
    """Return a component's own unit where it is stated or follows from what it is."""
    if part.unit:
        return part.unit
    if part.name.startswith(RELATIVE):
        return "1"
    return figure_unit if abs(part.sensitivity) == 1.0 else None


def _sensitivity(value: float, unit: str | None, figure_unit: str) -> str:
    number = words.number(value, 3)
    if unit is None or unit == figure_unit:
        return number
    own, of = (words.spelled(one) for one in (figure_unit, unit))
    if not of:
        return f"{number} {own}".rstrip()
    return f"{number} {own or '1'}/{of}"


def _size(value: float) -> float:
    return abs(value) if math.isfinite(value) else 0.0
