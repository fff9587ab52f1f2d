"""How a run with a fault in it ended, held against what really happened.

Truth comes from three places that no fault of an instrument reaches: the equations of the simulated
bench (true figures), the bench's own state at the end, and what the record's writer had said to be
on the disk.
"""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from computer import HAPPENS
from fault_kinds import (
    FOUND,
    LOUD,
    NOT_MET,
    RECOVERED,
    STOPPED,
    UNNOTICED,
    Kind,
)
from short_bench import Ran
from truths import Truth, truth_of

from sequencer.errors import Exit

TELLING = frozenset(
    {
        *("asked again", "reopened", "closed", "error queue", "late", "lost", "no number"),
        *("clock step", "setting", "set again", "frozen"),
    }
)
"""Kinds of events that say that something was wrong, and was dealt with."""


def ended(
    ran: Ran, kind: Kind, at: float, anyway: Collection[str] = frozenset()
) -> tuple[str, str]:
    """Return how a run with a fault at a bench time ended, and what it said.

    `anyway` are the figures that are farther than U from the truth without any fault, as one in
    twenty is by chance: they may be so here.
    """
    what = str(kind.table["what"])
    met = ran.happened if what in HAPPENS else ran.seen.met(what)
    if wrong := _wrong_whatever_was_said(ran):
        return wrong
    if not met:
        return NOT_MET, "it was never met"
    if ran.result is None:
        return _without_result(ran)
    why = next((e["text"] for e in ran.events if e["kind"] == "stopped"), "")
    if VERIFIED not in said_of_safety(ran):
        loud = ran.code == Exit.INSTRUMENT and "NOT VERIFIED" in ran.errors
        return (LOUD if loud else "QUIET"), why or said_of_safety(ran) or "no event"
    if why:
        return (STOPPED if ran.code in STOPS_WITH else "WRONG EXIT"), f"exit {ran.code}. {why}"
    truth = truth_of(ran.record, kind.tables(at), at, same_unit=kind.same_unit)
    return _went_on(ran, ran.result, truth, kind, anyway)


def _wrong_whatever_was_said(ran: Ran) -> tuple[str, str] | None:
    if lost := ran.kept.lost(ran.record) if ran.record.exists() else "":
        return "LOST", lost
    if not ran.seen.started:
        return "NO WITNESS", "the bench was ended before it could say what happened"
    if "Traceback" in ran.errors:
        return "CRASHES", ran.errors.strip().splitlines()[-1]
    if VERIFIED in said_of_safety(ran) and ran.seen.started and not ran.seen.without_energy:
        return "FALSE SAFE", f"{ran.seen.volts:.3g} V, {ran.seen.amperes:.3g} A"
    return None


VERIFIED = "Made safe, verified"
STOPS_WITH = frozenset({Exit.GUARD, Exit.INSTRUMENT, Exit.UNDECIDED})


def said_of_safety(ran: Ran) -> str:
    safe = [e["text"] for e in ran.events if e["kind"] == "make safe"]
    return safe[-1] if safe else ran.errors


def _without_result(ran: Ran) -> tuple[str, str]:
    """A run that never started, or whose record can't be written any more."""
    text = " ".join(ran.errors.split())
    loud = ran.code not in {0, 1, 3} and bool(text)
    if "NOT VERIFIED" in text and loud:
        return LOUD, text
    safe = VERIFIED in text or "Nothing was energised" in text or ran.seen.never_on
    if safe and loud and ran.seen.without_energy:
        return STOPPED, text
    return "NO RESULT", f"exit {ran.code}. {text}"


def _went_on(
    ran: Ran, result: Mapping[str, Any], truth: Truth, kind: Kind, anyway: Collection[str]
) -> tuple[str, str]:
    """Return how a run ended that came to its own end: its figures against the truth."""
    if ran.code not in {0, 1, 3}:
        return "WRONG EXIT", f"{ran.code}"
    if false := [v["figure"] for v in result["verdicts"] if falsely_passed(v, truth)]:
        return "FALSE PASS", ", ".join(false)
    if kind.same_unit and (false := [v["figure"] for v in result["verdicts"] if _failed(v, truth)]):
        return "FALSE FAIL", ", ".join(false)
    told = sorted(ran.kinds() & TELLING)
    words = ", ".join(told)
    others = [v for v in result["verdicts"] if v["verdict"] != "pass"]
    if others:
        why = ", ".join(f"{v['figure']} {v['verdict']}" for v in others)
        return FOUND, f"{why}; {words}" if words else why
    off = beyond(result["figures"], truth, anyway)
    if off and kind.same_unit:
        return "WRONG FIGURE", ", ".join(off.values())
    return (RECOVERED if told else UNNOTICED), words


def falsely_passed(verdict: Mapping[str, Any], truth: Truth) -> bool:
    """Return whether a figure passed that breaks its limit in every state that the unit was in."""
    if verdict["verdict"] != "pass":
        return False
    states = truth.states(verdict["trial"])
    return not any(_within(verdict, state.get(verdict["figure"])) for state in states)


def _failed(verdict: Mapping[str, Any], truth: Truth) -> bool:
    """Return whether a figure failed that a unit which stayed what it was keeps."""
    states = truth.states(verdict["trial"])
    kept = all(_within(verdict, state.get(verdict["figure"])) for state in states)
    return "fail" in verdict["verdict"] and kept


def _within(verdict: Mapping[str, Any], value: float | None) -> bool:
    lower, upper = verdict["lower"], verdict["upper"]
    return (
        value is not None
        and (lower is None or value >= lower)
        and (upper is None or value <= upper)
    )


def beyond(
    figures: Sequence[Mapping[str, Any]], truth: Truth, anyway: Collection[str] = frozenset()
) -> dict[str, str]:
    """Return what is said of the figures that are farther than U from the truth of every state.

    Those of `anyway` may be twice as far.
    """
    found = {}
    for figure in figures:
        name, states = figure["name"], truth.states(figure["trial"])
        allowed = figure["U"] * (FARTHER if name in anyway else 1.0)
        true = [state[name] for state in states if name in state]
        if true and all(abs(figure["value"] - value) > allowed for value in true):
            found[name] = f"{name} is {figure['value']:.4g} ± {figure['U']:.2g}, true {true[0]:.4g}"
    return found


FARTHER = 2.0
"""Twice U: four standard uncertainties, which chance does not explain in a campaign."""
