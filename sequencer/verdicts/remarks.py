"""What a reader should know beside a verdict: weak measurements, risks, what would help."""

from sequencer.documents.quantities import format_quantity
from sequencer.results import Figure, Outcome, Rule
from sequencer.verdicts.magnitude import is_magnitude, no_pass_possible
from sequencer.verdicts.needed import needed_uncertainty, what_would_help

#: Below this ratio of limit to U a verdict leans on the measurement as much as on the unit: the
#: customary four to one.
GOOD_RATIO = 4.0


NO_ROOM = "The limit leaves no room for any uncertainty: nothing measured can pass it."
"""Said of a figure that can't be below zero, under a limit of zero."""


def limit_ratio(figure: Figure, lower: float | None, upper: float | None) -> float:
    """Return limit over U: of an interval its half width, else the bound's magnitude."""
    if lower is not None and upper is not None:
        size = (upper - lower) / 2
    else:
        size = abs(upper if upper is not None else lower or 0.0)
    return size / figure.expanded


def remarks_on(
    figure: Figure,
    lower: float | None,
    upper: float | None,
    outcome: Outcome,
    *,
    rule: Rule,
    ratio: float,
) -> tuple[str, ...]:
    """Return the remarks for a verdict, most important first."""
    remarks = []
    impossible = no_pass_possible(figure, lower, upper)
    undecided = outcome in {"conditional pass", "conditional fail"}
    if impossible and rule == "guarded":
        expanded = format_quantity(figure.expanded, figure.unit, 3)
        so = f"U = {expanded} leaves no value that could pass"
        remarks.append(
            f"{so}: only a clear fail can be told with this bench."
            if outcome == "fail"
            else f"Undecidable with this bench: {so}."
        )
    elif undecided:
        remarks.append("Undecided: the value is closer to the limit than the measurement can tell.")
    if remarks and lower is None and impossible and not (upper or 0.0) > 0.0:
        remarks[0] = f"{remarks[0]} {NO_ROOM}"
    elif remarks and outcome != "fail":
        target = needed_uncertainty(figure, lower, upper, no_room=impossible)
        remarks[0] = f"{remarks[0]} {what_would_help(figure, target)}"
    if impossible and rule == "simple":
        remarks.append("U is wider than the limit itself: the measurement can't tell.")
    if ratio < GOOD_RATIO and (ratio > 0.0 or is_magnitude(figure)):
        remarks.append(
            f"The limit is only {ratio:.2g} times U; {GOOD_RATIO:.0f} or more is customary. "
            "The verdict leans on the measurement as much as on the unit."
        )
    if rule == "simple":
        remarks.append(
            "Simple acceptance: at the limit itself a wrong verdict is as likely as a right one."
            if not impossible
            else "Simple acceptance of a limit narrower than U: most verdicts near it are wrong."
        )
    return tuple(remarks)
