"""Every limit of a unit against the figures that were computed."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sequencer.documents.figure_names import OF_THE_LIMIT
from sequencer.documents.quantities import format_quantity
from sequencer.errors import FigureError
from sequencer.results import Figure, Rule, Verdict
from sequencer.verdicts.apart import spoken, told_apart
from sequencer.verdicts.coverage import CoverageCheck, check_coverage
from sequencer.verdicts.decide import decide
from sequencer.verdicts.limit import Limit
from sequencer.verdicts.settings import at_stated, gravity
from sequencer.verdicts.standing import holds_zero, more_words, standing, way_out


def judge(
    figures: Sequence[Figure],
    limits: Sequence[Limit],
    rule: Rule,
    reasons: Mapping[str, str] | None = None,
    beyond: Mapping[str, Figure] | None = None,
    names: Sequence[str] | None = None,
) -> tuple[Verdict, ...]:
    """Return the verdicts of all limits, in the limits' order.

    A limit without a figure is `not covered`. When several trials computed the figure, those that
    measured the limit's condition are judged, each for itself; if none did, those whose other range
    tells all the same: a greatest departure that is too great already, or a value at more load that
    keeps the limit. Otherwise the first is shown as `not covered`.

    Parameters
    ----------
    figures
        With `reached` filled in.
    limits
        Bounds in per cent are resolved at the stated setting, else at the one reached: the
        voltage, or for a current the greatest current; of a current limit at the stated one only.
    reasons
        By figure: why it could not be computed, where it is known.
    beyond
        By figure: a lower bound that was measured though the figure itself was not.
    names
        What tells limits on one figure apart, where these are not all of the unit's.

    Notes
    -----
    A limit without bounds or width, and a figure without uncertainty, are `not covered` with the
    reason: the other limits are judged all the same.
    """
    names = told_apart(limits) if names is None else names
    return tuple(
        replace(verdict, apart=_joined(apart, verdict.apart))
        for limit, apart in zip(limits, names, strict=True)
        for verdict in _verdicts(figures, limit, rule, (reasons or {}), (beyond or {}))
    )


def _verdicts(
    figures: Sequence[Figure],
    limit: Limit,
    rule: Rule,
    reasons: Mapping[str, str],
    beyond: Mapping[str, Figure],
) -> list[Verdict]:
    found = [
        at_stated(figure, limit.condition) for figure in figures if figure.name == limit.figure
    ]
    if not found:
        exceeded = _exceeded(beyond.get(limit.figure), limit, rule)
        return [exceeded or _absent(limit, rule, reasons.get(limit.figure, ""))]
    checked = [(figure, check_coverage(figure.reached, limit.condition)) for figure in found]
    same = [pair for pair in checked if standing(pair[0].name, pair[1]) == "same"]
    if same:
        return [_named(_one(*pair, limit, rule), figures, limit) for pair in same]
    told = [_by_another_range(figure, check, limit, rule) for figure, check in checked]
    return [one for one in told if one.outcome != "not covered"] or told[:1]


def _named(verdict: Verdict, figures: Sequence[Figure], limit: Limit) -> Verdict:
    """Say of a point of a figure which it is, in the words of the limit's condition."""
    by = [one.points_by for one in figures if verdict.judged in one.points]
    if not by or verdict.apart:
        return verdict
    return replace(verdict, apart=spoken(by[0], getattr(limit.condition, by[0])))


def _by_another_range(figure: Figure, check: CoverageCheck, limit: Limit, rule: Rule) -> Verdict:
    """Return what a value over less or more than the promised range tells: most often nothing."""
    stands = standing(figure.name, check)
    verdict = _one(figure, replace(check, covered=True), limit, rule)
    outcome = verdict.outcome
    if holds_zero(verdict.lower, verdict.upper):
        if stands == "at least" and outcome == "fail":
            why = f"{verdict.why} {check.why} More would only be worse."
            return replace(verdict, why=why, remarks=())
        if stands == "at most" and outcome in {"pass", "conditional pass"}:
            so = f"Measured to {more_words(check)}: there it is taken to be no greater."
            return replace(verdict, remarks=(*verdict.remarks, so))
    more = more_words(check)
    why = f"Measured to {more}: so the value does not tell. {way_out(check)}" if more else ""
    reason = " ".join(filter(None, (check.why if check.short else "", why)))
    return _one(figure, replace(check, covered=False, why=reason), limit, rule)


def _joined(apart: str, own: str) -> str:
    return apart if own in apart else " ".join(filter(None, (apart, own)))


def _exceeded(bound: Figure | None, limit: Limit, rule: Rule) -> Verdict | None:
    """Return a fail where what was measured at least lies beyond an upper limit by more than U."""
    if bound is None or not check_coverage(bound.reached, limit.condition).covered:
        return None
    upper = limit.upper(_setting(limit, bound) or 0.0)
    if upper is None or bound.value - bound.expanded <= upper:
        return None
    why = (
        f"{' '.join(bound.notes)} That is {format_quantity(bound.value - upper, bound.unit, 3)} "
        f"beyond the limit, more than U = {format_quantity(bound.expanded, bound.unit, 2)} "
        f"(k = {bound.k:.2f}), and nothing was measured further."
    )
    return replace(_absent(limit, rule, why, trial=bound.trial), outcome="fail")


def with_coverage(figures: Sequence[Figure], limits: Sequence[Limit]) -> tuple[Figure, ...]:
    """Return the figures with the coverage of the limit that concerns each.

    Of several limits on one figure the first that was not covered is shown.
    """
    result = []
    for figure in figures:
        checks = [
            check_coverage(figure.reached, limit.condition)
            for limit in limits
            if limit.figure == figure.name
        ]
        checks = [check for check in checks if check.coverage is not None]
        checks.sort(key=lambda check: standing(figure.name, check) == "same")
        result.append(replace(figure, coverage=checks[0].coverage) if checks else figure)
    return tuple(result)


def _one(figure: Figure, check: CoverageCheck, limit: Limit, rule: Rule) -> Verdict:
    """Return the verdict, of a percentage of several settings that of the worst of them."""
    if figure.points_by != "voltage" or not _of_setting(limit):
        return _at_one(figure, check, limit, rule)
    allowed = [one for one in figure.points if _allows(limit, one)]
    if not allowed:
        return _at_one(figure, check, limit, rule)
    verdict = max((_at_one(one, check, limit, rule) for one in allowed), key=gravity)
    if verdict.judged is None or verdict.outcome == "not covered":
        return verdict
    left = len(figure.points) - len(allowed)
    nothing = ("At 0 V a percentage allows nothing: not judged there.",) if left else ()
    at = format_quantity(verdict.judged.reached["voltage"], "V", 4)
    why = f"At {at}, of {len(allowed)} settings the one nearest to its limit. {verdict.why}"
    return replace(verdict, why=why, apart=f"at {at}", remarks=(*verdict.remarks, *nothing))


def _allows(limit: Limit, figure: Figure) -> bool:
    """Tell whether a bound leaves anything at a figure's setting: a percentage of 0 V does not."""
    setting = _setting(limit, figure) or 0.0
    return 0.0 not in {limit.lower(setting), limit.upper(setting)}


def _at_one(figure: Figure, check: CoverageCheck, limit: Limit, rule: Rule) -> Verdict:
    setting = _setting(limit, figure)
    if setting is None and _of_setting(limit):
        why = (
            "The limit is a percentage of the setting, and the setting is neither stated in its "
            "condition nor known from the measurement."
        )
        return _absent(limit, rule, why, trial=figure.trial)
    bounds = limit.lower(setting or 0.0), limit.upper(setting or 0.0)
    try:
        verdict = decide(figure, *bounds, rule, check.covered, why_not=check.why)
    except FigureError as error:  # what can't be judged costs the others nothing
        return _absent(limit, rule, str(error), trial=figure.trial)
    return replace(verdict, coverage=check.coverage, judged=figure)


def _setting(limit: Limit, figure: Figure | None) -> float | None:
    """Return what a percentage is of: the voltage, of a current the greatest current; or None."""
    key = "current_to" if limit.unit == "A" else "voltage"
    stated: float | None = getattr(limit.condition, key, None)
    if stated is not None or limit.figure in OF_THE_LIMIT:
        return stated  # what a limit lets through is no setting to take a part of
    return figure.reached.get(key) if figure is not None else None


def _of_setting(limit: Limit) -> bool:
    return (limit.lower(0.0), limit.upper(0.0)) != (limit.lower(1.0), limit.upper(1.0))


def _absent(limit: Limit, rule: Rule, reason: str, *, trial: str = "") -> Verdict:
    setting = _setting(limit, None) or 0.0
    return Verdict(
        figure=limit.figure,
        trial=trial,
        lower=limit.lower(setting),
        upper=limit.upper(setting),
        unit=limit.unit,
        rule=rule,
        outcome="not covered",
        probability=None,
        ratio=None,
        why=reason or "No trial of this run measured the figure, or it could not be computed.",
    )
