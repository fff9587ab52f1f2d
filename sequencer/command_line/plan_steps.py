"""The whole plan: each step with its operating point, every guard, the accuracy statements."""

from dataclasses import replace

from rich.console import Console
from rich.table import Table

from sequencer.command_line.plan_guards import add_guards
from sequencer.documents.bench import BenchDocument
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.outputs.words import title
from sequencer.planning import Plan, PlannedLimit, PlannedTrial
from sequencer.results import Coverage
from sequencer.run.guard_bound import GuardBound
from sequencer.run.rehearsal import PlannedStep
from sequencer.verdicts.apart import named

LONG_READ_S = 60.0
"""A read this long gets a line of its own; shorter ones belong to the point they are read at."""

LEAST_SHOWN = 1e-3


def print_steps(
    documents: Documents, plan: Plan, bounds: tuple[GuardBound, ...], console: Console
) -> None:
    """Print everything that the summary leaves out."""
    for trial in plan.trials:
        console.print(_trial_table(trial))
        console.print()
    console.print(_limit_table(plan.limits))
    console.print()
    headings = ("quantity", "bound", "value", "from")
    console.print(add_guards(plain_table("Guards that stop the run", headings), bounds))
    console.print()
    console.print(_accuracy_table(documents.bench))
    console.print()


def plain_table(heading: str, columns: tuple[str, ...]) -> Table:
    """Return a table without lines, whose cells fold."""
    table = Table(title=heading, title_justify="left", box=None, pad_edge=False)
    table.padding = (0, 2, 0, 0)
    for column in columns:
        table.add_column(column, overflow="fold")
    return table


def rounded(value: float, unit: str) -> str:
    """Return a planned value; what is less than a thousandth is nothing."""
    return format_quantity(value if abs(value) >= LEAST_SHOWN else 0.0, unit, 3)


def clock(seconds: float) -> str:
    """Return bench time as hours, minutes and seconds."""
    hours, rest = divmod(round(seconds), 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}"


def points(steps: tuple[PlannedStep, ...]) -> list[PlannedStep]:
    """Join each setting with the settling and short reading that follow it."""
    joined: list[PlannedStep] = []
    for step in steps:
        short = step.what == "settle" or (
            step.what.startswith("read") and step.duration_s < LONG_READ_S
        )
        if short and joined:
            last = joined[-1]
            joined[-1] = replace(last, duration_s=last.duration_s + step.duration_s)
        else:
            joined.append(step)
    return joined


def _trial_table(trial: PlannedTrial) -> Table:
    table = plain_table(
        f"{trial.name}: {trial.summary} About {format_quantity(trial.duration_s, 's', 3)}.",
        ("at (h:min:s)", "lasts", "step", "current", "heat in load", "in unit"),
    )
    for step in points(trial.steps):
        table.add_row(
            clock(step.at_s),
            format_quantity(step.duration_s, "s", 3) if step.duration_s else "",
            step.what,
            rounded(step.current, "A"),
            rounded(step.load_power, "W"),
            "" if step.unit_power is None else rounded(step.unit_power, "W"),
        )
    return table


def _limit_table(limits: tuple[PlannedLimit, ...]) -> Table:
    table = plain_table(
        "What each limit will have covered",
        ("limit on", "covered", "promised for", "will reach", "why"),
    )
    for limit in (one for one in limits if one.measured):
        covered = "yes" if limit.covered else "perhaps" if limit.perhaps else "NO"
        part = limit.coverage
        table.add_row(
            named(title(limit.figure), limit.apart),
            covered,
            "" if part is None else format_quantity(part.required, part.unit, 7),
            "" if part is None else _reached(part),
            "" if limit.covered else limit.why,
        )
    return table


def _reached(part: Coverage) -> str:
    return "" if part.reached is None else format_quantity(part.reached, part.unit, 3)


def _accuracy_table(bench: BenchDocument) -> Table:
    table = plain_table("Accuracy that every uncertainty comes from", ("channel", "stated"))
    for name, channel in bench.channels.items():
        table.add_row(name, channel.accuracy_words or "not stated")
    return table
