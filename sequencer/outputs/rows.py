"""Rows of text that both the report and the terminal print: one wording for both."""

from collections import Counter
from dataclasses import dataclass

from sequencer.errors import Exit
from sequencer.outputs import words
from sequencer.result import UNSEALED, Result
from sequencer.results import Figure, Verdict

HEADLINES = {
    0: ("pass", "Pass", "Every limit that was judged is kept."),
    1: ("fail", "Fail", "At least one promised limit is not kept."),
    3: ("open", "Undecided", "Not every limit could be decided from what was measured."),
    4: ("stopped", "Stopped by a guard", "A watched bound was crossed and the run was ended."),
    5: ("stopped", "Stopped by an instrument", "An instrument or its link failed."),
    130: ("stopped", "Interrupted", "The run was ended before it was complete."),
}
NOT_SAFE = (
    "stopped",
    "Not made safe",
    "The bench could not be shown to be without energy: the alarm says what to do.",
)
NOT_SEALED = (
    "stopped",
    "Record not sealed",
    "All was measured and is kept, but the record lacks its seal: the alarm says what to do.",
)
OUTCOME_KINDS = {
    "pass": "pass",
    "conditional pass": "conditional-pass",
    "conditional fail": "conditional-fail",
    "fail": "fail",
    "not covered": "open",
}


GROUPS = (
    ("fail", "Not kept"),
    ("conditional fail", "Outside the limit, but by no more than the uncertainty"),
    ("not covered", "Not measured under the promised condition"),
    ("conditional pass", "Kept, but by less than the uncertainty"),
    ("pass", "Kept"),
)


@dataclass(frozen=True, slots=True)
class Headline:
    """A run's outcome: kind for the look, a word, a sentence, and the outcome as recorded.

    `groups` are plain words and the figures they hold for, the worst first.
    """

    kind: str
    word: str
    sentence: str
    groups: tuple[tuple[str, str, str], ...]
    outcome: str


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One limit with its verdict, as text."""

    kind: str
    name: str
    trial: str
    value: str
    limit: str
    outcome: str
    probability: str
    margin: str
    ratio: str
    risks: str
    coverage: str
    conditions: str
    why: str
    remarks: tuple[str, ...]
    figure: Figure | None
    verdict: Verdict


def headline(result: Result) -> Headline:
    """Return the outcome of a run in plain words, naming the limits that matter."""
    kind, word, sentence = HEADLINES.get(
        result.exit, ("open", words.title(result.outcome), f"The exit code is {result.exit}.")
    )
    outcome = words.title(result.outcome)
    if result.made_safe is False and result.exit == Exit.INSTRUMENT:
        kind, word, sentence = NOT_SAFE
    elif result.outcome == UNSEALED:
        kind, word, sentence = NOT_SEALED
    if kind == "stopped" and outcome.lower() not in ("", word.lower()):
        sentence += f" {outcome}."
    groups = tuple(
        (OUTCOME_KINDS[outcome], phrase, ", ".join(names))
        for outcome, phrase in GROUPS
        if (names := [_name(v) for v in result.verdicts if v.outcome == outcome])
    )
    return Headline(kind, word, sentence, groups, result.outcome)


def limit_rows(result: Result) -> tuple[LimitRow, ...]:
    """Return one row for each limit, in the unit's order."""
    return tuple(_limit_row(verdict, result) for verdict in result.verdicts)


def figures_by_trial(result: Result) -> dict[str, list[Figure]]:
    """Return the figures under their trials' names, in the profile's order."""
    groups: dict[str, list[Figure]] = {}
    for figure in result.figures:
        groups.setdefault(figure.trial, []).append(figure)
    return groups


def event_counts(result: Result) -> str:
    """Return how many events there were, the gravest first, such as "2 warnings, 1 note"."""
    counts = Counter(event.severity for event in result.events)
    return ", ".join(
        f"{counts[kind]} {kind}{'s' if counts[kind] > 1 else ''}"
        for kind in ("alarm", "warning", "note")
        if counts[kind]
    )


def figure_of(verdict: Verdict, result: Result) -> Figure | None:
    """Return the figure that a verdict judges; None where it could not be computed."""
    if verdict.judged is not None:
        return verdict.judged
    wanted = (verdict.trial, verdict.figure)
    return next((one for one in result.figures if (one.trial, one.name) == wanted), None)


def _name(verdict: Verdict) -> str:
    return words.judged(verdict, words.title(verdict.figure).lower())


def _limit_row(verdict: Verdict, result: Result) -> LimitRow:
    figure = figure_of(verdict, result)
    return LimitRow(
        kind=OUTCOME_KINDS.get(verdict.outcome, "open"),
        name=words.judged(verdict, words.title(verdict.figure)),
        trial=words.title(verdict.trial),
        value=words.value_with_u(figure) if figure else "no value",
        limit=words.limit(verdict),
        outcome=verdict.outcome,
        probability=words.probability(verdict.probability),
        margin=words.margin(_margin(verdict, figure)),
        ratio=words.ratio(verdict.ratio),
        risks=words.risks(verdict),
        coverage=words.coverage(verdict.coverage),
        conditions=words.conditions(figure.reached) if figure else "–",
        why=verdict.why,
        remarks=verdict.remarks,
        figure=figure,
        verdict=verdict,
    )


def _margin(verdict: Verdict, figure: Figure | None) -> float | None:
    """Return the distance to the nearer limit in multiples of U, negative outside."""
    if figure is None or verdict.ratio is None or not figure.expanded > 0.0:
        return None
    inside = []
    if verdict.upper is not None:
        inside.append(verdict.upper - figure.value)
    if verdict.lower is not None:
        inside.append(figure.value - verdict.lower)
    return min(inside) / figure.expanded if inside else None
