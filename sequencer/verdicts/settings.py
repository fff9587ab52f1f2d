"""A figure that is the greatest over several settings, and what it is at each."""

from math import inf

from sequencer.results import Figure, Verdict
from sequencer.verdicts.coverage import SETTING_TOLERANCE, Condition

_GRAVITY = ("pass", "not covered", "conditional pass", "conditional fail", "fail")


def at_stated(figure: Figure, condition: Condition | None) -> Figure:
    """Return the figure at the one setting that a condition states, where it has that."""
    stated = None if condition is None else condition.voltage
    near = (
        one
        for one in figure.points
        if stated is not None and abs(one.reached["voltage"] - stated) <= SETTING_TOLERANCE * stated
    )
    return next(near, figure)


def gravity(verdict: Verdict) -> tuple[int, float]:
    """Return how bad a verdict is: its outcome, then how near the limit is in multiples of U."""
    figure = verdict.judged
    if figure is None:
        return _GRAVITY.index(verdict.outcome), -inf
    above = inf if verdict.lower is None else figure.value - verdict.lower
    below = inf if verdict.upper is None else verdict.upper - figure.value
    return _GRAVITY.index(verdict.outcome), -min(above, below) / figure.expanded
