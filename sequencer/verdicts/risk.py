"""How often a decision rule errs for a unit whose true value stands exactly at its limit."""

from dataclasses import dataclass

from sequencer.results import Figure, Rule
from sequencer.uncertainty.distribution import distribution_of_figure
from sequencer.verdicts.magnitude import no_pass_possible


@dataclass(frozen=True, slots=True)
class Risk:
    """Probabilities at the limit itself, the worst case for a unit just outside or just inside.

    `false_accept`: a unit just outside is given `pass`. `false_reject`: a unit just inside is
    given `fail`.
    """

    false_accept: float
    false_reject: float


def risk_at_limit(figure: Figure, lower: float | None, upper: float | None, rule: Rule) -> Risk:
    """Return the risks of a limit under a rule, for a measurement as uncertain as the figure.

    Parameters
    ----------
    lower, upper
        The limit's bounds in the figure's unit; None where it has none.
    rule
        `simple`, or `guarded` with w = U.

    Notes
    -----
    ILAC-G8:09/2019, table 1: with w = U (k = 2) at most 2.5 % for a normal distribution (2.28 %
    exactly), with simple acceptance up to 50 %. The measured value misses the true one as the
    figure's own distribution says, so the share beyond the guard band is half of what U leaves
    out. An interval that is narrow against U passes less at its bound, and nothing below 2·U; the
    limit of a magnitude passes nothing below U.
    """
    spread = distribution_of_figure(figure)
    guard = figure.expanded if rule == "guarded" else 0.0
    accepted = spread.below(-guard)
    rejected = spread.below(-guard)
    if lower is not None and upper is not None:
        width = upper - lower
        # Seen from the upper bound: pass between −(width − guard) and −guard, fail beyond both.
        accepted = max(accepted - spread.below(guard - width), 0.0)
        rejected += spread.below(-guard - width)
    elif rule == "guarded" and no_pass_possible(figure, lower, upper):
        accepted = 0.0
    return Risk(accepted, rejected)
