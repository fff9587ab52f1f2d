"""How often a decision rule errs for a unit whose true value stands exactly at its limit."""

import math
from dataclasses import dataclass

from scipy import special

from sequencer.results import Rule
from sequencer.uncertainty.combine import coverage_factor


@dataclass(frozen=True, slots=True)
class Risk:
    """Probabilities at the limit itself, the worst case for a unit just outside or just inside.

    `false_accept`: a unit just outside is given `pass`. `false_reject`: a unit just inside is
    given `fail`.
    """

    false_accept: float
    false_reject: float


def risk_at_limit(rule: Rule, dof: float = math.inf) -> Risk:
    """Return the risks of a one-sided limit.

    Parameters
    ----------
    rule
        `simple`, or `guarded` with w = U at 95.45 %.
    dof
        Degrees of freedom of U.

    Notes
    -----
    ILAC-G8:09/2019, table 1: with w = U (k = 2) at most 2.5 % for a normal distribution (2.28 %
    exactly), with simple acceptance up to 50 %. The measured value misses the true one by u times
    Student's t, so the share beyond the guard band is half of what U leaves out, at any number of
    degrees of freedom.
    """
    if rule == "simple":
        return Risk(0.5, 0.5)
    k = coverage_factor(dof)
    tail = float(special.ndtr(-k)) if math.isinf(dof) else float(special.stdtr(dof, -k))
    return Risk(tail, tail)
