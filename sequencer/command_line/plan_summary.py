"""The plan on one screen: trials and time, hands, tightest guards, what will be covered."""

from collections.abc import Iterator

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from sequencer.cautions import CAUTIONS
from sequencer.command_line.left_alone import reasons_against
from sequencer.command_line.plan_by_hand import (
    ASK,
    gets_up,
    leads_words,
    moves_words,
    pace_words,
    resistor_words,
    times_up,
)
from sequencer.command_line.plan_guards import guard_warnings, tightest_words
from sequencer.command_line.plan_limits import covered_words, lacking_words, weak_words
from sequencer.command_line.plan_steps import clock, plain_table, rounded
from sequencer.command_line.typed_values import typing_words
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.judging import not_warmed
from sequencer.planning import Plan, PlannedTrial
from sequencer.run.guard_bound import GuardBound
from sequencer.trials.trial import Context

TYPE = f"{ASK}type "
NOTHING_TO_DO = "as it is"
MOST_ASKED = 4
"""More instructions than these fill a screen; the steps have all."""


def print_summary(
    documents: Documents,
    plan: Plan,
    bounds: tuple[GuardBound, ...],
    console: Console,
    *,
    whole: bool,
) -> None:
    """Print the summary; `whole` has the cautions in full where the bench is simulated, too."""
    unit, bench = documents.unit, documents.bench
    console.print(
        f"Plan of {documents.profile.profile.name}: unit {unit.unit.tag}, bench "
        f"{bench.bench.name}. About {format_quantity(plan.duration_s, 's', 2)} of bench time.",
        style="bold",
        markup=False,
    )
    table = plain_table("", ("trial", "lasts", "current up to", "heat in load", "in unit"))
    table.title = None
    for trial in plan.trials:
        table.add_row(trial.name, format_quantity(trial.duration_s, "s", 2), *_most(trial))
    console.print(table)
    for line in covered_words(plan.limits):
        console.print(Text(line))
    for line in weak_words(plan.limits):
        console.print(Text(line, style="bold"))
    for line in lacking_words(plan):
        console.print(Text(line))
    for line in _by_hand(documents, plan):
        console.print(Text(line))
    console.print("Guards stop the run (of voltages and of currents the tightest is shown):")
    for line in tightest_words(bounds):
        console.print(Padding(Text(line), (0, 0, 0, 2)))
    for warning in (
        *(f"Warning: {one}" for one in guard_warnings(documents, bounds)),
        *resistor_words(documents),
        *leads_words(documents),
        *pace_words(plan),
    ):
        console.print(Text(warning, style="bold"))
    if cold := not_warmed(documents, Context(unit, bench)):
        asked = format_quantity(unit.unit.warm_up, "s", 3)
        names = ", ".join(name.replace("_", " ") for name in cold)
        console.print(Text(f"No warm-up ({asked}) before {names}: figures of a cold unit."))
    against = "; ".join(reasons_against(documents, plan))
    left_alone = f"would be refused: {against}" if against else "would be started"
    console.print(Text(f"With --unattended it {left_alone}."))
    console.print(
        Text("Currents and powers are a nominal unit's, with its limit 10 % above rating.")
    )
    if whole or bench.simulation is None:
        for caution in CAUTIONS:
            console.print(Text(f"• {caution}"))


def _most(trial: PlannedTrial) -> tuple[str, str, str]:
    in_unit = [step.unit_power for step in trial.steps if step.unit_power is not None]
    return (
        rounded(max((step.current for step in trial.steps), default=0.0), "A"),
        rounded(max((step.load_power for step in trial.steps), default=0.0), "W"),
        rounded(max(in_unit), "W") if in_unit else "not known",
    )


def _by_hand(documents: Documents, plan: Plan) -> Iterator[str]:
    """Yield what a person has to do, when."""
    asked = [
        (step.at_s, step.what.removeprefix(ASK))
        for trial in plan.trials
        for step in trial.steps
        if step.what.startswith(ASK) and NOTHING_TO_DO not in step.what
        if not step.what.startswith(TYPE) and not gets_up(step.what)
    ]
    by_hand = documents.unit.unit.control == "hand"
    if not asked and not by_hand and not times_up(plan) and not documents.bench.typed:
        yield "Nobody has to do anything by hand."
        return
    who = "The simulated person" if documents.bench.simulation is not None else "A person"
    parts = [
        f"{f'at {clock(at)}' if at else 'at the start'}: {instruction}"
        for at, instruction in asked[:MOST_ASKED]
    ]
    if len(asked) > MOST_ASKED:
        parts.append(f"and {len(asked) - MOST_ASKED} times more, see --steps.")
    if by_hand:
        parts.append("At the end: Switch the output off.")
    yield f"{who} is asked {' '.join(parts)}"
    yield from moves_words(documents, plan)
    yield from typing_words(documents, plan)
