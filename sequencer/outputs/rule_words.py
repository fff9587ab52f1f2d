"""How verdicts come about, in words: the decision rule, the margin, when a condition is covered."""

from sequencer.documents.limits import SETTING_TOLERANCE
from sequencer.results import Rule
from sequencer.uncertainty.combine import COVERAGE_PROBABILITY
from sequencer.verdicts import coverage

CONFIDENCE = f"{100.0 * COVERAGE_PROBABILITY:.2f} %"
RULES = {
    "simple": (
        "Simple acceptance: a limit is kept when the measured value lies within it. The "
        "uncertainty U is shown beside the value but does not move the limit."
    ),
    "guarded": (
        "Guarded acceptance with w = U (ILAC-G8:09/2019, JCGM 106:2012): a value passes when it "
        "lies within the limit by at least its expanded uncertainty U, and fails when it lies "
        "outside by more than U. In between the verdict is conditional, and what was not measured "
        "under the promised condition is not covered, never a pass."
    ),
}


def rule_words(rule: Rule) -> tuple[str, ...]:
    """Return the paragraphs that explain a verdict under a rule."""
    margin = (
        f"U is the expanded uncertainty, stated for a coverage of {CONFIDENCE}. Margin / U is the "
        "distance from the value to the nearer limit in multiples of U: negative outside the limit"
    )
    if rule == "guarded":
        margin += ", pass from 1 upward, fail below −1"
    risks = (
        "Limit / U compares the limit (of an interval half its width) with U: below 4 the verdict "
        "leans on the measurement as much as on the unit. The probability of conformance is the "
        "share of the figure's distribution that lies within the limit; the risks are how often "
        "this measurement would pass a unit just outside its limit, or fail one just inside."
    )
    return RULES[rule], f"{margin}.", risks, coverage_words()


def coverage_words() -> str:
    """Return within which tolerances a promised condition counts as measured."""
    return (
        "A limit's condition counts as covered when the set voltage is within "
        f"{_percent(SETTING_TOLERANCE)} of the promised one, the greatest current reaches "
        f"{_percent(coverage.CURRENT_SHARE)} and the time {_percent(coverage.DURATION_SHARE)} of "
        "theirs, the least current is above its promised value by no more than "
        f"{_percent(coverage.LOW_CURRENT_SHARE)} of the greatest, the voltage at the load comes "
        f"down to {_percent(coverage.LOAD_VOLTAGE_SHARE)} of its promised value, and the line "
        f"voltage to within {_percent(coverage.LINE_TOLERANCE)} of the rated one of its ends. Over "
        f"a current or time more than {_percent(coverage.BEYOND_SHARE)} beyond the promised one a "
        "value that keeps the limit passes it, and another tells nothing."
    )


def _percent(share: float) -> str:
    return f"{100.0 * share:.4g} %"
