"""The words beside every verdict, each in a sentence."""

from collections.abc import Mapping

TERMS: Mapping[str, str] = {
    "u": (
        "Standard uncertainty: the standard deviation of what the true value may be, about the one "
        "that is shown. A data sheet's ± half-width counts as that over √3 (JCGM 100, 4.3.7)."
    ),
    "U": (
        "Expanded uncertainty, k times u: in 95.45 of 100 such measurements the true value is no "
        "farther than this from the one that is shown."
    ),
    "k": (
        "Coverage factor, U over u: 2 for a normal distribution, more where few repeats tell the "
        "scatter, less where one data sheet's tolerance is all there is."
    ),
    "ν": (
        "Degrees of freedom: from how many independent repeats u is known; infinite where it was "
        "stated, not measured."
    ),
    "contributes": (
        "What a part of the budget adds to u: its own u times how strongly it acts on the figure. "
        "Their squares add up to u²."
    ),
    "pass": "Inside the limit by at least U (guarded rule), or at all (simple rule).",
    "conditional pass": (
        "Inside the limit, but by less than U: it looks kept, and can't be told yet. A smaller U "
        "or a better unit would decide it."
    ),
    "conditional fail": (
        "Outside the limit, but by no more than U: it looks broken, and can't be told yet."
    ),
    "fail": "Outside the limit by more than U (guarded rule), or at all (simple rule).",
    "not covered": (
        "The condition that the limit is stated for was not measured, so nothing is said about it."
    ),
    "probability": (
        "Probability of conformance: how likely the true value keeps the limit, by the measured "
        "value and its uncertainty alone (JCGM 106)."
    ),
    "margin / U": (
        "How far the value stands inside the limit, in multiples of U; negative outside. From 1 on "
        "the guarded rule passes it, below −1 fails it."
    ),
    "E_n": (
        "The difference of two meters over the U of that difference (ISO/IEC 17043): up to 1 they "
        "agree within what they state."
    ),
    "limit / U": (
        "How fine the measurement is for its limit. Below 4 a verdict leans on the measurement as "
        "much as on the unit."
    ),
}


def term(asked: str) -> tuple[str, str] | None:
    """Return a term with its sentence; None for a word that is none."""
    if asked in TERMS:
        return asked, TERMS[asked]
    plain = asked.lower().replace("_", " ").replace("-", " ").strip().rstrip(".")
    named = {"prob": "probability", "dof": "ν", "nu": "ν", "degrees of freedom": "ν"}
    plain = named.get(plain, plain)
    known = {one.lower().replace("_", " "): one for one in TERMS if one.lower() != "u"}
    found = known.get(plain)
    return None if found is None else (found, TERMS[found])
