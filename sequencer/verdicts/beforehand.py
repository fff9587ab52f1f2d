"""What a bench's accuracy leaves of a limit before anything was measured."""

from dataclasses import dataclass

from sequencer.documents.quantities import format_quantity
from sequencer.results import Figure, Verdict
from sequencer.verdicts.magnitude import no_pass_possible
from sequencer.verdicts.needed import LEAST_TARGET, what_would_help
from sequencer.verdicts.remarks import GOOD_RATIO


@dataclass(frozen=True, slots=True)
class Beforehand:
    """How well a limit could be judged on a quiet, nominal unit; a real one's U is mostly larger.

    Attributes
    ----------
    expanded
        U, 95.45 %, in the figure's unit.
    ratio
        Limit over U.
    no_room
        Whether that U leaves no value that could pass.
    words
        What is weak about it and what would help; "" where nothing is.
    """

    expanded: float
    ratio: float
    no_room: bool
    words: str


def beforehand(figure: Figure, verdict: Verdict) -> Beforehand | None:
    """Return how well a limit could be judged; None where its bounds or U are not known.

    Parameters
    ----------
    figure
        Of a rehearsal, with the accuracy statements' budget.
    verdict
        Its verdict: bounds and their ratio to U.

    Notes
    -----
    A lower bound alone, and a bound near zero of a figure that may be negative, say nothing
    beforehand: there the value's own distance counts.
    """
    lower, upper, ratio = verdict.lower, verdict.upper, verdict.ratio
    if ratio is None:
        return None
    size = ratio * figure.expanded
    about = format_quantity(figure.expanded, figure.unit, 2)
    bound = format_quantity(size, figure.unit, 3)
    limit = f"± {bound} about its middle" if lower is not None and upper is not None else bound
    no_room = no_pass_possible(figure, lower, upper)
    words = ""
    if no_room:
        so = "no value could pass" if verdict.rule == "guarded" else "a verdict tells nothing"
        near = size >= LEAST_TARGET * figure.expanded
        far = "No bench meter gets near it: see whether it is right."
        cure = what_would_help(figure, size) if near else far
        words = f"U will be about {about}, more than the limit of {limit}: {so} then. {cure}"
    elif LEAST_TARGET <= ratio < GOOD_RATIO and upper is not None:
        words = (
            f"U will be about {about}, the limit of {limit} is only {ratio:.2g} times as much; "
            f"{GOOD_RATIO:.0f} or more is customary. {what_would_help(figure, size / GOOD_RATIO)}"
        )
    return Beforehand(figure.expanded, ratio, no_room, words)
