"""The result as one JSON object for other programs, in SI units."""

import json
import math
from typing import Any

from sequencer.result import Result
from sequencer.results import Component, Coverage, Event, Figure, Tripped, Verdict

JsonObject = dict[str, Any]
"""JSON's own types; a closer type would have to be recursive and say no more."""


def json_object(result: Result) -> JsonObject:
    """Return the result as plain data; a number that JSON lacks (NaN, infinity) is null.

    `simulated` says by what the unit was stood in for, null on a real bench; `started` and `ended`
    are wall times (ISO 8601). A verdict's `limit` is a number for a one-sided limit and [low, high]
    for an interval; its `judged` is the value that was held against it, `apart` tells it from
    others on the same figure. `alarm` is what somebody at the bench has to know, `made_safe`
    whether the bench was shown to be without energy at the end (null where the record doesn't say).
    `guard` is the guard that ended the run, else null: its channel; the reason (too high, too low,
    rises too fast, raised, over the meter's range, no number, not read, frozen); value and bound in
    `unit`, a rate's per second, null where there are none; the documents that state the bound;
    bench time in seconds; the sentence for people; and what making the bench safe then said.
    `notes` are remarks on the run for people.
    """
    return {
        "record": result.record,
        "unit": result.unit.tag,
        "profile": result.profile,
        "bench": result.bench.name,
        "simulated": result.simulated or None,
        "started": result.started,
        "ended": result.ended or None,
        "outcome": result.outcome,
        "exit": int(result.exit),
        "alarm": result.alarm or None,
        "guard": None if result.guard is None else _guard(result.guard),
        "made_safe": result.made_safe,
        "figures": [figure_object(figure) for figure in result.figures],
        "verdicts": [_verdict(verdict) for verdict in result.verdicts],
        "events": [_event(event) for event in result.events],
        "notes": list(result.notes),
    }


def json_text(result: Result) -> str:
    """Return the JSON object as one line of ASCII text, safe for every pipe and terminal."""
    return json.dumps(json_object(result), allow_nan=False)


def _guard(tripped: Tripped) -> JsonObject:
    return {
        "channel": tripped.channel or None,
        "reason": tripped.reason or None,
        "value": _number(tripped.value),
        "bound": _number(tripped.bound),
        "unit": tripped.unit or None,
        "source": tripped.source or None,
        "at": _number(tripped.at),
        "text": tripped.text,
        "made_safe": tripped.made_safe or None,
    }


def _number(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None


def figure_object(figure: Figure) -> JsonObject:
    """Return a figure with its budget as plain data."""
    return {
        "trial": figure.trial,
        "name": figure.name,
        "value": _number(figure.value),
        "unit": figure.unit,
        "u": _number(figure.u),
        "dof": _number(figure.dof),
        "k": _number(figure.k),
        "U": _number(figure.expanded),
        "coverage": _coverage(figure.coverage),
        "reached": {name: _number(value) for name, value in figure.reached.items()},
        "points": [_point(one) for one in figure.points],
        "budget": [_component(part) for part in figure.budget],
        "notes": list(figure.notes),
    }


def _point(figure: Figure) -> JsonObject:
    return {
        "reached": {name: _number(value) for name, value in figure.reached.items()},
        "value": _number(figure.value),
        "u": _number(figure.u),
        "U": _number(figure.expanded),
    }


def _coverage(coverage: Coverage | None) -> JsonObject | None:
    if coverage is None:
        return None
    return {
        "required": _number(coverage.required),
        "reached": _number(coverage.reached),
        "unit": coverage.unit,
        "quantity": coverage.quantity,
    }


def _component(part: Component) -> JsonObject:
    return {
        "name": part.name,
        "distribution": part.distribution,
        "u": _number(part.u),
        "unit": part.unit or None,
        "sensitivity": _number(part.sensitivity),
        "contribution": _number(part.contribution),
        "dof": _number(part.dof),
    }


def _verdict(verdict: Verdict) -> JsonObject:
    low, high = _number(verdict.lower), _number(verdict.upper)
    if verdict.lower is not None and verdict.upper is not None:
        limit: Any = [low, high]
    else:
        limit = high if verdict.lower is None else low
    return {
        "figure": verdict.figure,
        "trial": verdict.trial,
        "limit": limit,
        "unit": verdict.unit,
        "rule": verdict.rule,
        "verdict": verdict.outcome,
        "probability": _number(verdict.probability),
        "ratio": _number(verdict.ratio),
        "false_accept": _number(verdict.false_accept),
        "false_reject": _number(verdict.false_reject),
        "lower": low,
        "upper": high,
        "why": verdict.why,
        "remarks": list(verdict.remarks),
        "apart": verdict.apart,
        "judged": None if verdict.judged is None else _number(verdict.judged.value),
        "coverage": _coverage(verdict.coverage),
    }


def _event(event: Event) -> JsonObject:
    return {
        "at": _number(event.at),
        "wall": event.wall,
        "kind": event.kind,
        "severity": event.severity,
        "text": event.text,
    }
