"""The result in a terminal: verdicts, other figures, events, and where everything is."""

import math
from collections.abc import Collection
from pathlib import Path

from rich.console import Console
from rich.table import Table
from rich.text import Text

from sequencer.outputs import words
from sequencer.outputs.rows import LimitRow, event_counts, headline, limit_rows
from sequencer.result import Result
from sequencer.results import Coverage, Verdict

STYLES = {
    "pass": "green",
    "conditional-pass": "yellow",
    "conditional-fail": "yellow",
    "fail": "bold red",
    "stopped": "bold red",
    "open": "cyan",
}
MOST_EVENTS = 8
"""The record holds every event; a terminal shows the last few that matter."""
WARNING = "Warning: "
"""A figure's note that begins so is for everybody, not only for readers of the report."""
FULL_WIDTH = 80
SIX_COLUMNS = 100
"""Narrower, what was covered stands below the verdicts."""

LONGEST_VERDICT_WORD = len("conditional")
LONGEST_WHOLE = 24
"""A longer name is broken over lines, so that the verdict beside it stays."""
KEPT_WHOLE = {"Figure", "Value ± U", "Limit", "Prob."}
"""Columns that are not broken over lines where the terminal is wide enough."""


def print_result(result: Result, console: Console, *, report: Path | None = None) -> None:
    """Print a result for people; made for 80 columns, with or without colour.

    Parameters
    ----------
    result : Result
    console : Console
        Where to print; the program keeps standard output free for `--json`.
    report : Path or None
        Where the report was written, if it was.
    """
    head = headline(result)
    console.print()
    _print_alarm(result, console)
    title = f"Unit {result.unit.tag}, profile {result.profile}"
    console.print(_text(title), _text(head.word, STYLES[head.kind]), sep=": ")
    console.print(_text(head.sentence))
    if result.simulated:
        console.print(_text(result.simulated, "bold"))
    if result.verdicts:
        rows = limit_rows(result)
        console.print(_verdict_table(rows, console))
        _print_coverage(rows, console)
        _print_reasons(result, console)
    _print_other_figures(result, console)
    _print_events(result, console)
    told = {event.text for event in result.events if event.severity != "note"}
    for note in result.notes:
        if note not in told:
            console.print(_text(note, "bold" if note.startswith(WARNING) else ""))
    digest = f" ({result.digest})" if result.digest else ""
    console.print(_text(f"Record: {result.record}{digest}"), soft_wrap=True)
    if report is not None:
        console.print(_text(f"Report: {report}"), soft_wrap=True)
    _print_alarm(result, console)


def _print_alarm(result: Result, console: Console) -> None:
    """Print what somebody at the bench has to know, before everything else and again at the end."""
    if result.alarm:
        console.print(_text(f"⚠ ALARM: {result.alarm}", "bold white on red"))


def _verdict_table(rows: tuple[LimitRow, ...], console: Console) -> Table:
    headings = ("Figure", "Value ± U", "Limit", "Verdict", "Prob.", "Covered")
    wide = console.width >= SIX_COLUMNS
    long = {"Figure"} if max(len(row.name) for row in rows) > LONGEST_WHOLE else set()
    table = _table(console, *(headings if wide else headings[:-1]), broken=long)
    for row in rows:
        cells = [
            _text(row.name),
            _text(row.value),
            _text(_short_limit(row.verdict)),
            _text(row.outcome, STYLES[row.kind]),
            _text(row.probability),
            _text(_covered(row)),
        ]
        table.add_row(*(cells if wide else cells[:-1]))
    return table


def _covered(row: LimitRow) -> str:
    return _short_coverage(row.verdict.coverage)


def _print_coverage(rows: tuple[LimitRow, ...], console: Console) -> None:
    """Print below a narrow table what has no room in it."""
    if console.width >= SIX_COLUMNS:
        return
    covered: dict[str, list[str]] = {}
    for row in rows:
        covered.setdefault(_covered(row), []).append(row.name)
    for what, names in covered.items():
        if what != NOTHING_COVERED:
            said = what.replace("\n", " ")
            named = words.listed(["", *names]).removeprefix(", ")
            console.print(_text(f"Covered, {named}: {said}"))


def _print_reasons(result: Result, console: Console) -> None:
    told: dict[tuple[str, str], list[str]] = {}
    for row in limit_rows(result):
        if row.outcome != "pass" and row.why:
            told.setdefault((row.outcome, row.why), []).append(row.name)
        for remark in row.remarks:
            told.setdefault(("", remark), []).append(row.name)
    for (outcome, said), names in told.items():
        named = words.listed(names)
        console.print(_text(f"{named}, {outcome}: {said}" if outcome else f"{named}: {said}"))
    _print_risks(result, console)
    console.print()


def _print_risks(result: Result, console: Console) -> None:
    """Print the worst risks and the least ratio of all limits; the report has each."""
    decided = [verdict for verdict in result.verdicts if verdict.ratio is not None]
    if not decided:
        return
    least = min(decided, key=lambda verdict: verdict.ratio or math.inf)
    worst = max(decided, key=lambda verdict: verdict.false_accept or 0.0)
    console.print(
        _text(
            f"Limit / U: {words.ratio(least.ratio)} or more "
            f"({words.judged(least, words.title(least.figure).lower())}). "
            f"A unit right at a limit would be {words.risks(worst)}."
        )
    )


def _print_other_figures(result: Result, console: Console) -> None:
    judged = {(verdict.trial, verdict.figure) for verdict in result.verdicts}
    others = [one for one in result.figures if (one.trial, one.name) not in judged]
    if not others:
        return
    table = _table(console, "Other figures", "Value ± U", "k", "Trial")
    for figure in others:
        table.add_row(
            _text(words.title(figure.name)),
            _text(words.value_with_u(figure)),
            _text(f"{figure.k:.2f}"),
            _text(words.title(figure.trial)),
        )
    console.print(table)
    for figure in others:
        for note in figure.notes:
            if note.startswith(WARNING):
                console.print(_text(f"{words.title(figure.name)}: {note.removeprefix(WARNING)}"))


def _print_events(result: Result, console: Console) -> None:
    if result.events:
        console.print(_text(f"Events: {event_counts(result)}"))
    grave = [event for event in result.events if event.severity != "note"]
    for event in grave[-MOST_EVENTS:]:
        line = f"  {words.bench_time(event.at)} {event.severity}, {event.kind}: {event.text}"
        console.print(_text(line, "bold red" if event.severity == "alarm" else "yellow"))
    if len(grave) > MOST_EVENTS:
        console.print(_text(f"  … and {len(grave) - MOST_EVENTS} earlier ones, in the record"))


def _short_limit(verdict: Verdict) -> str:
    return words.limit(verdict).replace("at most", "≤").replace("at least", "≥")


NOTHING_COVERED = "–"


def _short_coverage(found: Coverage | None) -> str:
    if found is None:
        return NOTHING_COVERED
    reached, required = words.covered(found)
    link = "for" if found.quantity == "voltage" else "of"
    return reached if reached == required else f"{reached}\n{link} {required}"


def _table(console: Console, *headings: str, broken: Collection[str] = ()) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for heading in headings:
        whole = heading in KEPT_WHOLE.difference(broken) and console.width >= FULL_WIDTH
        narrowest = LONGEST_VERDICT_WORD if heading == "Verdict" else None
        table.add_column(heading, overflow="fold", no_wrap=whole, min_width=narrowest)
    return table


def _text(text: str, look: str = "") -> Text:
    """Return a text that is printed as it is: no markup, no control characters."""
    return Text(words.clean(text), style=look)
