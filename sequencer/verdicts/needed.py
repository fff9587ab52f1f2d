"""What a measurement would have to be like for a limit to be decided, in plain words."""

import math

from sequencer.documents.quantities import format_quantity
from sequencer.results import Component, Figure
from sequencer.uncertainty.improve import (
    REPEAT,
    expanded_of,
    measure_for,
    needed_factor,
    needed_readings,
)

#: So many components are named where several have to shrink.
_NAMED = 3
#: Up to so many times as many readings are a proposal, not a joke.
_SENSIBLE_TIMES = 100.0
#: Nobody takes one time as many readings: a tenth more at least.
_LEAST_TIMES = 1.1
#: Nearer to the limit than this share of U no measurement on a bench will ever tell.
LEAST_TARGET = 0.01


def needed_uncertainty(
    figure: Figure, lower: float | None, upper: float | None, *, no_room: bool
) -> float:
    """Return the U at which the same value would be decided.

    The value's distance from the nearer bound; where no value could pass at all, at most the room
    that the limit leaves, too.
    """
    margins = [abs(bound - figure.value) for bound in (lower, upper) if bound is not None]
    target = min(margins)
    if no_room and upper is not None:
        room = upper if lower is None else (upper - lower) / 2
        target = min(target, room)
    return target


def what_would_help(figure: Figure, target: float) -> str:
    """Say how U could come down to `target`, from the budget alone.

    Parameters
    ----------
    target
        U that would decide, in the figure's unit.
    """
    if target < LEAST_TARGET * figure.expanded:
        return "The value stands at the limit itself: no better meter will tell."
    need = f"It would need U of at most {_text(target, figure)}"
    budget = figure.budget
    if not budget or not math.isclose(expanded_of(budget), figure.expanded, rel_tol=1e-3):
        return f"{need}: a more accurate meter or more readings."
    times = needed_readings(budget, target)
    if times is not None and times <= _SENSIBLE_TIMES:
        return f"{need}: {_repeats(budget, times)}."
    largest = max(budget, key=lambda part: part.contribution)
    alone = f"{largest.name} alone gives {_text(expanded_of([largest]), figure)}"
    factor = needed_factor(budget, lambda part: part is largest, target)
    if factor is not None:
        after = _text(expanded_of([largest]) * factor, figure)
        cure = measure_for(largest).advice
        return f"{need}; {alone} and would have to come down to {after}: {cure}."
    ordered = sorted(budget, key=lambda part: -part.contribution)
    chosen: list[Component] = []
    for part in ordered:
        chosen.append(part)
        if needed_factor(budget, lambda one: one in chosen, target) is not None:
            break
    names = ", ".join(part.name for part in chosen[:_NAMED])
    rest = len(chosen) - _NAMED
    more = f" and {rest} more" if rest > 0 else ""
    cures = "; ".join(dict.fromkeys(measure_for(part).advice for part in chosen[:_NAMED]))
    return f"{need}; {alone}. No single part is enough: {names}{more} have to shrink ({cures})."


def _repeats(budget: tuple[Component, ...], times: float) -> str:
    """Say how many repeats, in numbers where the scatter's degrees of freedom tell them."""
    scatter = [part for part in budget if math.isfinite(part.dof) and REPEAT.acts_on(part)]
    if not scatter:
        return f"about {_rounded(times)} times as many readings, or as long an integration"
    now = max(scatter, key=lambda part: part.contribution).dof + 1
    return (
        f"about {_rounded(times)} times as many readings or repeats (the scatter is known from "
        f"{now:.0f} independent values now, {math.ceil(now * times):.0f} then)"
    )


def _rounded(times: float) -> str:
    times = max(times, _LEAST_TIMES)
    return f"{times:.2g}" if times < _SENSIBLE_TIMES else f"{times:.0f}"


def _text(value: float, figure: Figure) -> str:
    return format_quantity(value, figure.unit, 2)
