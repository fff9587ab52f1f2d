"""A figure over other conditions than all that was measured: at one setting, over a part."""

from math import inf

from sequencer.results import Figure, Verdict
from sequencer.verdicts.coverage import Condition, check_coverage
from sequencer.verdicts.standing import standing

_GRAVITY = ("pass", "not covered", "conditional pass", "conditional fail", "fail")


def at_stated(figure: Figure, condition: Condition | None) -> Figure:
    """Return the figure over what a condition states, where it has that among its points."""
    if getattr(condition, figure.points_by or "nothing", None) is None:
        return figure
    same = (
        one
        for one in figure.points
        if standing(one.name, check_coverage(one.reached, condition)) == "same"
    )
    return next(same, figure)


def gravity(verdict: Verdict) -> tuple[int, float]:
    """Return how bad a verdict is: its outcome, then how near the limit is in multiples of U."""
    figure = verdict.judged
    if figure is None:
        return _GRAVITY.index(verdict.outcome), -inf
    above = inf if verdict.lower is None else figure.value - verdict.lower
    below = inf if verdict.upper is None else verdict.upper - figure.value
    return _GRAVITY.index(verdict.outcome), -min(above, below) / figure.expanded
