"""What a plan says of the unit's limits: covered or not, and how well they could be judged."""

from collections.abc import Iterable, Iterator

from sequencer.planning import Plan, PlannedLimit
from sequencer.verdicts.apart import named


def covered_words(limits: Iterable[PlannedLimit]) -> Iterator[str]:
    """Yield which limits will have been covered, which not and why, and which nobody measures."""
    limits = tuple(limits)
    will = [limit_name(one) for one in limits if one.covered]
    nobody = [limit_name(one) for one in limits if not one.measured]
    yield f"Will be covered: {', '.join(will) or 'no limit at all'}."
    for one in limits:
        if one.measured and not one.covered:
            how = "Perhaps not" if one.perhaps else "Will NOT be"
            yield f"{how} covered: {limit_name(one)}. {one.why}"
    if nobody:
        yield f"Not in this profile, so not judged: {', '.join(nobody)}."


def weak_words(limits: Iterable[PlannedLimit]) -> Iterator[str]:
    """Yield which limits this bench can hardly judge, or not at all, and what would help."""
    for one in limits:
        if one.beforehand is not None and one.beforehand.words:
            hardly = "can hardly be passed" if no_room(one) else "is weakly measured"
            yield f"With this bench {limit_name(one)} {hardly}: {one.beforehand.words}"


def lacking_words(plan: Plan) -> Iterator[str]:
    """Yield which figures and trials the bench has no channel for."""
    yield from dict.fromkeys(plan.lacking.values())
    if plan.out_of_reach:
        told = (f"{name} ({', '.join(needs)})" for name, needs in plan.out_of_reach.items())
        yield f"Trials for which this bench lacks channels: {', '.join(told)}."


def no_room(limit: PlannedLimit) -> bool:
    """Return whether a nominal unit shows that the bench's own U leaves nothing that could pass."""
    return limit.beforehand is not None and limit.beforehand.no_room


def limit_name(limit: PlannedLimit) -> str:
    """Return the figure in plain words, and which of its limits this is where it has several."""
    return named(limit.figure.replace("_", " "), limit.apart)
