"""A figure against a limit: simple or guarded acceptance, with the probability of conformance."""

import math

from sequencer.documents.quantities import format_quantity
from sequencer.errors import FigureError
from sequencer.results import Figure, Outcome, Rule, Verdict
from sequencer.uncertainty.distribution import distribution_of_figure
from sequencer.verdicts.magnitude import is_magnitude
from sequencer.verdicts.remarks import limit_ratio, remarks_on
from sequencer.verdicts.risk import risk_at_limit


def decide(
    figure: Figure,
    lower: float | None,
    upper: float | None,
    rule: Rule,
    covered: bool,
    *,
    why_not: str = "",
) -> Verdict:
    """Decide whether a figure keeps its limit.

    Parameters
    ----------
    figure
        Value, u, degrees of freedom and U in SI units.
    lower, upper
        The limit's bounds in the figure's unit; None where it has none.
    rule
        `simple`: pass within the bounds, else fail. `guarded`: the bounds move inwards by w = U
        for a pass and outwards by U for a fail, with `conditional pass` and `conditional fail`
        between.
    covered
        Whether the condition that the limit is stated for was measured. If not, the verdict is
        `not covered`, whatever the value.
    why_not
        What was not reached, for the reader.

    Raises
    ------
    FigureError
        If there is no bound, the bounds have no width or the wrong order, or the figure has no
        uncertainty.

    Notes
    -----
    ILAC-G8:09/2019, 4.2 (binary rule with simple acceptance; non-binary rule with guard band
    w = U); JCGM 106:2012, 7 and 8. Probability of conformance: the share of the distribution that
    the figure's budget makes about the value (that whose k its U has) which lies within the bounds
    (JCGM 106, 7.2 to 7.4; JCGM 101, 6.4).
    """
    _check(figure, lower, upper)
    ratio = limit_ratio(figure, lower, upper)
    low = -math.inf if lower is None else lower
    high = math.inf if upper is None else upper
    if not covered:
        return Verdict(
            figure=figure.name,
            trial=figure.trial,
            lower=lower,
            upper=upper,
            unit=figure.unit,
            rule=rule,
            outcome="not covered",
            probability=None,
            ratio=None,
            why=why_not or "The condition that the limit is stated for was not measured.",
        )
    risk = risk_at_limit(figure, lower, upper, rule)
    outcome = _outcome(figure.value, figure.expanded, low, high, rule)
    return Verdict(
        figure=figure.name,
        trial=figure.trial,
        lower=lower,
        upper=upper,
        unit=figure.unit,
        rule=rule,
        outcome=outcome,
        probability=probability_of_conformance(figure, lower, upper),
        ratio=ratio,
        why=_why(figure, low, high, outcome, rule),
        remarks=remarks_on(figure, lower, upper, outcome, rule=rule, ratio=ratio),
        false_accept=risk.false_accept,
        false_reject=risk.false_reject,
    )


def probability_of_conformance(figure: Figure, lower: float | None, upper: float | None) -> float:
    """Return the probability that the true value lies within the bounds (JCGM 106, 7).

    The figure's value and U say all that is taken into account: no prior knowledge about units of
    this kind. Of a magnitude, what lies below the negative of its upper bound is outside as well.
    """
    spread = distribution_of_figure(figure)
    if lower is None and upper is not None and upper >= 0.0 and is_magnitude(figure):
        lower = -upper
    below_upper = 1.0 if upper is None else spread.below(upper - figure.value)
    below_lower = 0.0 if lower is None else spread.below(lower - figure.value)
    return max(0.0, min(1.0, below_upper - below_lower))


def _outcome(value: float, guard: float, low: float, high: float, rule: Rule) -> Outcome:
    inside = low <= value <= high
    if rule == "simple":
        return "pass" if inside else "fail"
    if low + guard <= value <= high - guard:
        return "pass"
    if inside:
        return "conditional pass"
    if low - guard <= value <= high + guard:
        return "conditional fail"
    return "fail"


def _why(figure: Figure, low: float, high: float, outcome: Outcome, rule: Rule) -> str:
    margin = min(figure.value - low, high - figure.value)
    place = "inside" if margin >= 0 else "outside"
    text = f"The value is {format_quantity(abs(margin), figure.unit, 3)} {place} the limit"
    if rule == "simple":
        return f"{text}; simple acceptance asks no more."
    relation = {
        "pass": "at least U",
        "conditional pass": "less than U",
        "conditional fail": "no more than U",
        "fail": "more than U",
    }[outcome]
    expanded = format_quantity(figure.expanded, figure.unit, 2)
    return f"{text}, {relation} = {expanded} (k = {figure.k:.2f})."


def _check(figure: Figure, lower: float | None, upper: float | None) -> None:
    where = f"limit of {figure.name}"
    if lower is None and upper is None:
        raise FigureError(f"{where}: found no bound, expected at least one.")
    for bound in (lower, upper):
        if bound is not None and not math.isfinite(bound):
            raise FigureError(f"{where}: found the bound {bound}, expected a finite number.")
    if lower is not None and upper is not None and lower >= upper:
        raise FigureError(
            f"{where}: found bounds {lower:g} and {upper:g} {figure.unit}, expected the first "
            "below the second. A limit without width can't be kept by anything measured."
        )
    if not (math.isfinite(figure.value) and figure.u > 0 and figure.expanded > 0):
        raise FigureError(
            f"{figure.name}: value {figure.value:g}, u {figure.u:g}; expected a finite value with "
            "an uncertainty above zero. A result without uncertainty can't be judged."
        )
