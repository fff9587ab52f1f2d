"""`steadyrail explain`: what a figure is, and what made a measured one as uncertain as it is."""

import json
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from sequencer.assemble import result_of
from sequencer.documents.figure_names import FIGURES
from sequencer.documents.flaws import one_of
from sequencer.errors import Exit, UsageError
from sequencer.outputs import words
from sequencer.outputs.budget import budget_table
from sequencer.outputs.json_object import figure_object
from sequencer.outputs.terms import TERMS, term
from sequencer.results import Figure
from sequencer.trials.explanation import Explanation, explanations
from sequencer.trials.registry import trials
from sequencer.uncertainty.improve import Improvement, improvements

MOST_IMPROVEMENTS = 8
"""The best few; what brings nothing is left out anyway."""


def run(target: str | None, name: str | None, *, as_json: bool) -> int:
    """Print the list of figures, one figure's explanation, or a measured figure's budget.

    Raises
    ------
    UsageError
        For a figure or a record that is not there.
    """
    known = _known()
    console = Console()
    if target is not None and name is not None and Path(name).is_file():
        target, name = name, target  # either may come first
    if target is None:
        if not _written([_object(one) for one in known], as_json):
            _print_list(known, console)
    elif name is None and target not in {one.name for one in known} and Path(target).is_file():
        found = [figure.name for figure in result_of(Path(target)).figures]
        raise UsageError(
            f"{target} is a record: name one of its figures too, such as `steadyrail explain "
            f"{target} {found[0] if found else 'FIGURE'}`. It has: {', '.join(found) or 'none'}."
        )
    elif name is None:
        chosen = [one for one in known if one.name == _spelled(target)]
        word = term(target)
        if not chosen and word is not None:
            if not _written([{"term": word[0], "meaning": word[1]}], as_json):
                console.print(Text(f"{word[0]}: {word[1]}"))
            return Exit.PASSED
        if not chosen:
            what = one_of((one.name for one in known), _spelled(target), "a figure")
            raise UsageError(
                f'found "{target}", expected {what}, the path of a record, or a word such as U. '
                "`steadyrail explain` lists all figures."
            )
        if not _written([_object(one) for one in chosen], as_json):
            _print_texts(chosen, console)
    else:
        name = _spelled(name)
        figures = _measured(Path(target), name, known)
        texts = [one for one in known if one.name == name]
        data = [_measured_object(figure, texts) for figure in figures]
        if not _written(data, as_json):
            _print_measured(figures, texts, console)
    return Exit.PASSED


def _spelled(name: str) -> str:
    """Return a figure's name as results spell it, from "Knee onset", say."""
    return name.strip().lower().replace(" ", "_").replace("-", "_")


def _known() -> list[Explanation]:
    return [one for trial in trials().values() for one in _explained(trial)]


def _explained(trial: Any) -> list[Explanation]:
    """Return a trial's figures; one that its code doesn't document stands with its name alone."""
    texts = explanations(trial)
    blank = ("the code of this trial does not say", "", ())
    return [
        texts.get(name)
        or Explanation(name, trial.name, FIGURES[name].unit if name in FIGURES else "", *blank, "")
        for name in trial.gives
    ]


def _measured(record: Path, name: str, known: Sequence[Explanation]) -> list[Figure]:
    result = result_of(record)
    found = [figure for figure in result.figures if figure.name == name]
    if not found:
        what = one_of((figure.name for figure in result.figures), name, "a figure of this record")
        reasons = [one.why for one in result.verdicts if one.figure == name]
        reasons += [note for note in result.notes if name.replace("_", " ") in note.lower()]
        by = ", ".join(one.trial for one in known if one.name == name)
        origin = f" It comes from the trial {by}." if by else ""
        why = f" Why it has none: {reasons[0]}" if reasons else origin
        raise UsageError(f'{record}: found "{name}", expected {what}.{why}')
    return found


def _written(data: Sequence[dict[str, Any]], as_json: bool) -> bool:
    """Print one JSON object, if so asked, and return whether that was all."""
    if as_json:
        sys.stdout.write(json.dumps({"figures": data}, allow_nan=False) + "\n")
    return as_json


def _object(one: Explanation) -> dict[str, Any]:
    return {
        "name": one.name,
        "trial": one.trial,
        "unit": one.unit,
        "meaning": words.meaning(one.name),
        "definition": one.definition,
        "formula": one.formula,
        "components": list(one.components),
        "source": one.source,
    }


def _measured_object(figure: Figure, texts: Sequence[Explanation]) -> dict[str, Any]:
    return figure_object(figure) | {
        "explanation": [_object(one) for one in texts if one.trial == figure.trial],
        "improvements": [
            {
                "measure": one.measure.advice,
                "components": list(one.components),
                "factor": one.measure.factor,
                "U": one.expanded,
                "gain": one.gain,
            }
            for one in improvements(figure.budget)
        ],
    }


def _print_list(known: Sequence[Explanation], console: Console) -> None:
    for trial in dict.fromkeys(one.trial for one in known):
        table = _table("", "", "", headed=False)
        console.print(Text(words.title(trial), style="bold"))
        for one in known:
            if one.trial == trial:
                table.add_row(one.name, words.spelled(one.unit), Text(_short(one)))
        console.print(table)
    console.print("`steadyrail explain FIGURE` tells more, `explain RECORD FIGURE` its numbers.")
    console.print(Text(f"Words beside verdicts, too: {', '.join(TERMS)}."))


def _short(one: Explanation) -> str:
    return words.meaning(one.name) or one.definition


def _print_texts(chosen: Sequence[Explanation], console: Console) -> None:
    for one in chosen:
        unit = words.spelled(one.unit) or "no unit"
        console.print(Text(f"{words.title(one.name)} ({unit}), by {one.trial}", style="bold"))
        console.print(Text(words.meaning(one.name)))
        table = _table("", "", headed=False)
        rows = [("definition", one.definition), ("formula", one.formula)]
        rows += [("" if n else "uncertainty", part) for n, part in enumerate(one.components)]
        rows.append(("source", one.source))
        for label, text in rows:
            if text:
                table.add_row(label, Text(text))
        console.print(table)


def _print_measured(
    figures: Sequence[Figure], texts: Sequence[Explanation], console: Console
) -> None:
    for figure in figures:
        _print_texts([one for one in texts if one.trial == figure.trial], console)
        console.print()
        console.print(Text(f"Measured: {words.value_with_u(figure)}", style="bold"))
        for note in figure.notes:
            console.print(Text(note))
        console.print()
        _print_budget(figure, console)
        _print_improvements(figure, improvements(figure.budget), console)


def _print_budget(figure: Figure, console: Console) -> None:
    budget = budget_table(figure)
    if budget is None:
        console.print("It came without a budget.")
        return
    table = _table("component", "distribution", "u", "contributes", "of U²")
    for row in (*budget.rows, *(() if budget.others is None else (budget.others,))):
        table.add_row(row.name, row.distribution, row.u, row.contribution, row.share)
    console.print(table)
    console.print(Text(budget.total))
    console.print()


def _print_improvements(figure: Figure, found: Sequence[Improvement], console: Console) -> None:
    if not found:
        console.print("No single measure would make U noticeably smaller.")
        return
    table = _table("what would help", "U then", "less by")
    for one in found[:MOST_IMPROVEMENTS]:
        table.add_row(
            Text(one.measure.advice),
            words.quantity(one.expanded, figure.unit, 2),
            words.share(one.gain),
        )
    console.print(table)
    console.print(
        "Each alone, all else as it is, computed from this budget. More readings help only as far "
        "as their scatter is noise that differs from one to the next."
    )


def _table(*headings: str, headed: bool = True) -> Table:
    table = Table(
        box=None,
        pad_edge=False,
        padding=(0, 2, 0, 0),
        show_header=headed,
        header_style="bold",
    )
    for heading in headings:
        table.add_column(heading, overflow="fold")
    return table
