"""`steadyrail plan`: on one screen what a run will do and cover; with --steps everything."""

import json
import sys

from rich.console import Console

from sequencer.command_line.documents import load_checked
from sequencer.command_line.left_alone import reasons_against
from sequencer.command_line.plan_by_hand import (
    hand_words,
    leads_words,
    pace_words,
    resistor_words,
    times_up,
    walk_words,
)
from sequencer.command_line.plan_guards import guard_warnings
from sequencer.command_line.plan_limits import no_room
from sequencer.command_line.plan_steps import print_steps
from sequencer.command_line.plan_summary import print_summary
from sequencer.command_line.typed_values import typed_values
from sequencer.documents.calibration_days import today
from sequencer.errors import Exit
from sequencer.planning import Plan, make_plan
from sequencer.run.bounds import guard_bounds
from sequencer.run.guard_bound import GuardBound


def run(
    profile: str, unit: str | None, bench: str | None, *, steps: bool = False, as_json: bool
) -> int:
    """Print the plan of a profile and return the exit code."""
    documents = load_checked(profile, unit=unit, bench=bench)
    plan = make_plan(documents, today())
    bounds = guard_bounds(documents)
    if as_json:
        warnings = (
            *guard_warnings(documents, bounds),
            *resistor_words(documents),
            *leads_words(documents),
            *pace_words(plan),
        )
        told = _as_object(plan, bounds, warnings)
        told["gets_up"] = times_up(plan)
        told["typed"] = typed_values(plan)
        told["leads"] = list(walk_words(documents, plan))
        told["resistors"] = list(hand_words(plan))
        told["against_unattended"] = list(reasons_against(documents, plan))
        sys.stdout.write(json.dumps(told, allow_nan=False) + "\n")
        return Exit.PASSED
    console = Console()
    if steps:
        print_steps(documents, plan, bounds, console)
    print_summary(documents, plan, bounds, console, whole=steps)
    if not steps:
        console.print(
            "Every step, guard and accuracy statement: steadyrail plan … --steps",
            style="dim",
            markup=False,
        )
    return Exit.PASSED


def _as_object(
    plan: Plan, bounds: tuple[GuardBound, ...], warnings: tuple[str, ...]
) -> dict[str, object]:
    return {
        "warnings": list(warnings),
        "duration_s": plan.duration_s,
        "trials": [
            {
                "name": trial.name,
                "number": trial.number + 1,
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
                "apart": limit.apart,
                "measured": limit.measured,
                "covered": limit.covered,
                "perhaps": limit.perhaps,
                "required": None if limit.coverage is None else limit.coverage.required,
                "reached": None if limit.coverage is None else limit.coverage.reached,
                "unit": None if limit.coverage is None else limit.coverage.unit,
                "why": limit.why,
                "U": None if limit.beforehand is None else limit.beforehand.expanded,
                "ratio": None if limit.beforehand is None else limit.beforehand.ratio,
                "no_room": no_room(limit),
                "weak": "" if limit.beforehand is None else limit.beforehand.words,
            }
            for limit in plan.limits
        ],
        "lacking": dict(plan.lacking),
        "out_of_reach": {name: list(needs) for name, needs in plan.out_of_reach.items()},
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
