"""Promises for less than a trial measures: figures over that part, beside those over the whole."""

from collections.abc import Collection, Iterable
from dataclasses import replace
from math import inf
from typing import Literal

from sequencer.documents.limits import same_setting
from sequencer.results import Figure
from sequencer.trials.trial import Context

NEARLY = 1.01
"""What lies up to 1 % beyond a promised current or time is taken to be of it: no load sets its
current nearer (common practice, no source)."""


def promised_below(
    context: Context,
    names: Collection[str],
    key: Literal["current_to", "duration"],
    most: float,
) -> tuple[float, ...]:
    """Return for which smaller values than `most` (A, s) the unit promises any of these figures."""
    stated = (
        getattr(limit.condition, key)
        for limit in context.unit.limits
        if limit.judged_figure in names
    )
    return tuple(sorted({one for one in stated if one is not None and one * NEARLY < most}))


def upper_promise(
    context: Context,
    names: Collection[str],
    voltage: float,
    key: Literal["current_to", "duration"],
) -> float | None:
    """Return the upper bound that the unit promises of these figures at a voltage, if any.

    Of several the one for that voltage, and for the greatest current or time; an unstated one is
    the whole.
    """
    promises = [
        (limit.condition, limit.bound.upper)
        for limit in context.unit.limits
        if limit.judged_figure in names and limit.bound.upper is not None
    ]
    here = [
        one for one in promises if one[0].voltage is None or same_setting(voltage, one[0].voltage)
    ] or promises
    if not here:
        return None
    _, upper = max(here, key=lambda one: getattr(one[0], key) or inf)
    return upper.resolve(voltage)


def with_points(
    figure: Figure,
    parts: Iterable[Iterable[Figure]],
    by: Literal["current_to", "duration"],
) -> Figure:
    """Return a figure with its namesakes over parts of what was measured as its points."""
    points = tuple(one for part in parts for one in part if one.name == figure.name)
    return replace(figure, points=points, points_by=by if points else "")
