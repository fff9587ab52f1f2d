"""`steadyrail plan`: each step with time, current and powers, and what each limit will cover."""

import json
import sys
from dataclasses import replace

from rich.console import Console
from rich.table import Table

from sequencer.cautions import CAUTIONS
from sequencer.command_line.documents import load_checked
from sequencer.command_line.left_alone import reasons_against
from sequencer.command_line.plan_by_hand import gets_up, leads_words, resistor_words, times_up
from sequencer.command_line.plan_guards import add_guards, guard_warnings
from sequencer.documents.bench import BenchDocument
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.errors import Exit
from sequencer.outputs.words import title
from sequencer.planning import Plan, PlannedLimit, PlannedTrial, make_plan
from sequencer.run.bounds import guard_bounds
from sequencer.run.guard_bound import GuardBound
from sequencer.run.rehearsal import PlannedStep

LONG_READ_S = 60.0
"""A read this long gets a line of its own; shorter ones belong to the point they are read at."""


def run(profile: str, unit: str | None, bench: str | None, *, as_json: bool) -> int:
    """Print the plan of a profile and return the exit code."""
    documents = load_checked(profile, unit=unit, bench=bench)
    plan = make_plan(documents)
    bounds = guard_bounds(documents)
    if as_json:
        warnings = (
            *guard_warnings(documents, bounds),
            *resistor_words(documents),
            *leads_words(documents),
        )
        told = _as_object(plan, bounds, warnings)
        told["gets_up"] = times_up(plan)
        told["against_unattended"] = list(reasons_against(documents, plan))
        sys.stdout.write(json.dumps(told, allow_nan=False) + "\n")
    else:
        _print(documents, plan, bounds, Console())
    return Exit.PASSED


def _print(
    documents: Documents, plan: Plan, bounds: tuple[GuardBound, ...], console: Console
) -> None:
    name = documents.profile.profile.name
    console.print(f"Plan of {name} on {documents.unit.unit.tag}, {documents.bench.bench.name}")
    for trial in plan.trials:
        console.print()
        console.print(_trial_table(trial))
    console.print()
    console.print(_limit_table(plan.limits))
    console.print()
    headings = ("quantity", "bound", "value", "from")
    console.print(add_guards(_table("Guards that stop the run", headings), bounds))
    for warning in guard_warnings(documents, bounds):
        console.print(f"Warning: {warning}", style="bold", markup=False)
    for line in (*resistor_words(documents), *leads_words(documents), gets_up(plan)):
        if line:
            console.print(line, style="bold", markup=False)
    against = "; ".join(reasons_against(documents, plan))
    left_alone = f"would be refused: {against}" if against else "would be started"
    console.print(f"With --unattended it {left_alone}.", markup=False)
    console.print()
    console.print(_accuracy_table(documents.bench))
    console.print()
    steps = [step for trial in plan.trials for step in trial.steps]
    hottest = max((step.unit_power or 0.0 for step in steps), default=0.0)
    console.print(
        f"In all about {format_quantity(plan.duration_s, 's', 3)} of bench time; the unit turns at "
        f"most about {_rounded(hottest, 'W')} into heat. Planned on a nominal unit: its limit "
        "10 % above the rated current, knobs set once for all trials."
    )
    for caution in CAUTIONS:
        console.print(f"• {caution}", markup=False)


def _trial_table(trial: PlannedTrial) -> Table:
    table = _table(
        f"{trial.name}: {trial.summary} About {format_quantity(trial.duration_s, 's', 3)}.",
        ("at", "lasts", "step", "current", "load", "unit"),
    )
    for step in points(trial.steps):
        table.add_row(
            _clock(step.at_s),
            format_quantity(step.duration_s, "s", 3) if step.duration_s else "",
            step.what,
            _rounded(step.current, "A"),
            _rounded(step.load_power, "W"),
            "" if step.unit_power is None else _rounded(step.unit_power, "W"),
        )
    return table


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


def _table(title: str, headings: tuple[str, ...]) -> Table:
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for heading in headings:
        table.add_column(heading, overflow="fold")
    return table


def _limit_table(limits: tuple[PlannedLimit, ...]) -> Table:
    table = _table(
        "What each limit will have covered",
        ("limit on", "covered", "promised for", "will reach", "why"),
    )
    for limit in limits:
        covered = "yes" if limit.covered else "no" if limit.measured else "not in this profile"
        part = limit.coverage
        table.add_row(
            title(limit.figure),
            covered,
            "" if part is None else format_quantity(part.required, part.unit, 3),
            "" if part is None else format_quantity(part.reached, part.unit, 3),
            "" if limit.covered else limit.why,
        )
    return table


def _accuracy_table(bench: BenchDocument) -> Table:
    table = _table("Accuracy that every uncertainty comes from", ("channel", "stated"))
    for name, channel in bench.channels.items():
        table.add_row(name, channel.accuracy_words or "not stated")
    return table


def _clock(seconds: float) -> str:
    hours, rest = divmod(round(seconds), 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}"


def _rounded(value: float, unit: str) -> str:
    """Return a planned value; what is less than a thousandth is nothing."""
    return format_quantity(value if abs(value) >= LEAST_SHOWN else 0.0, unit, 3)


LEAST_SHOWN = 1e-3


def _as_object(
    plan: Plan, bounds: tuple[GuardBound, ...], warnings: tuple[str, ...]
) -> dict[str, object]:
    return {
        "warnings": list(warnings),
        "duration_s": plan.duration_s,
        "trials": [
            {
                "name": trial.name,
                "duration_s": trial.duration_s,
                "steps": [
                    {
                        "at_s": step.at_s,
                        "duration_s": step.duration_s,
                        "what": step.what,
                        "current": step.current,
                        "load_power": step.load_power,
                        "unit_power": step.unit_power,
                    }
                    for step in trial.steps
                ],
            }
            for trial in plan.trials
        ],
        "limits": [
            {
                "figure": limit.figure,
                "measured": limit.measured,
                "covered": limit.covered,
                "required": None if limit.coverage is None else limit.coverage.required,
                "reached": None if limit.coverage is None else limit.coverage.reached,
                "unit": None if limit.coverage is None else limit.coverage.unit,
                "why": limit.why,
            }
            for limit in plan.limits
        ],
        "guards": [
            {
                "channel": bound.channel,
                "at_least": _finite(bound.at_least),
                "at_most": _finite(bound.at_most),
                "rate_at_most": _finite(bound.rate_at_most),
                "source": bound.source,
                "at_least_from": bound.origin("at_least"),
                "at_most_from": bound.origin("at_most"),
                "rate_at_most_from": bound.origin("rate_at_most"),
            }
            for bound in bounds
        ],
    }


def _finite(value: float) -> float | None:
    return None if abs(value) == float("inf") else value
