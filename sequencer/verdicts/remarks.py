"""What a reader should know beside a verdict: weak measurements, risks, what would help."""

import math

from sequencer.documents.quantities import format_quantity
from sequencer.results import Component, Figure, Outcome, Rule

#: Below this ratio of limit to U a verdict leans on the measurement as much as on the unit: the
#: customary four to one.
GOOD_RATIO = 4.0


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
    impossible = _no_pass_possible(figure, lower, upper)
    if impossible and rule == "guarded":
        expanded = format_quantity(figure.expanded, figure.unit, 3)
        remarks.append(
            f"Undecidable with this bench: U = {expanded} leaves no value that could pass. "
            f"{what_would_help(figure)}"
        )
    elif outcome in {"conditional pass", "conditional fail"}:
        remarks.append(
            "Undecided: the value is closer to the limit than the measurement can tell. "
            + what_would_help(figure)
        )
    if ratio < GOOD_RATIO:
        remarks.append(
            f"The limit is only {ratio:.2g} times U; {GOOD_RATIO:.0f} or more is customary. "
            "The verdict leans on the measurement as much as on the unit."
        )
    if rule == "simple":
        remarks.append(
            "Simple acceptance: at the limit itself a wrong verdict is as likely as a right one."
        )
    return tuple(remarks)


def _no_pass_possible(figure: Figure, lower: float | None, upper: float | None) -> bool:
    """Return whether U leaves no room for a guarded pass, for a magnitude counted from zero."""
    if upper is None:
        return False
    if lower is not None:
        return upper - lower < 2 * figure.expanded
    return figure.value >= 0 and 0 <= upper < figure.expanded


def what_would_help(figure: Figure) -> str:
    """Say in plain words what would make U smaller, from the largest part of the budget."""
    if not figure.budget:
        return "A more accurate meter or more readings would help."
    largest = max(figure.budget, key=lambda part: part.contribution)
    share = (largest.contribution / figure.u) ** 2
    extra = ""
    if figure.k > _FEW_READINGS_K:
        extra = f" More repeats would also bring k = {figure.k:.1f} towards 2."
    return (
        f"The largest part of U is {largest.name} ({share:.0%} of its square): "
        f"{_cure(largest)}.{extra}"
    )


#: k above this comes from few degrees of freedom (fewer than about 7): repeats pay.
_FEW_READINGS_K = 2.5


def _cure(part: Component) -> str:
    name = part.name.partition(" (")[0].lower()  # without the channel
    if math.isfinite(part.dof):
        return "take more readings or repeat the points more often"
    cures = {
        "noise": "integrate longer or take more readings",
        "resolution": "use a lower range or a meter with more digits",
        "shunt": "have the shunt's value calibrated or use a better one",
        "stability": "use a meter that is more stable over this time",
        "room": "keep the room's temperature steadier or use a meter that follows it less",
        "temperature": "work nearer the calibration temperature or use a better meter",
        "emf": "let the connections reach one temperature and use copper to copper",
    }
    for word, cure in cures.items():
        if word in name:
            return cure
    return "use a more accurate or freshly calibrated meter"
