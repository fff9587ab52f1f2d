"""Understands the plain English of instructions to the person at the unit."""

import re
from dataclasses import dataclass
from typing import Literal

_VOLTS = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*(m?)v(?:olts?)?\b")
_AMPERES = re.compile(r"([+-]?\d+(?:\.\d+)?)\s*(m?)a(?:mps?|mperes?)?\b")
_MILLI = 1e-3


@dataclass(frozen=True, slots=True)
class Intent:
    """What the person understood: which control, and where to (V, A, or 1/0 for on/off).

    A resistor's value is in ohm, negative to take it off, 0 to take all off. `value`
    is None for "fully up".
    """

    control: Literal["voltage", "limit", "output", "line", "leads", "resistors", "nothing"]
    value: float | None


def understand(text: str) -> Intent | None:
    """Return what a sentence asks for, or None when it makes no sense."""
    said = " ".join(text.lower().split())
    if "limit" in said:
        if re.search(r"\b(fully|all the way) up\b|\bmaximum\b", said):
            return Intent("limit", None)
        return _number("limit", _AMPERES.search(said))
    if "voltage" in said:
        return _number("voltage", _VOLTS.search(said))
    switch = re.search(r"\b(on|off)\b", said)
    if switch is None:
        return _at_the_table(said)
    value = 1.0 if switch[1] == "on" else 0.0
    if re.search(r"\bline\b|\bmains\b", said):
        return Intent("line", value)
    return Intent("output", value) if "output" in said else None


def _at_the_table(said: str) -> Intent | None:
    if "resistor" in said:
        return _resistor(said)
    return _leads(said) if "leads" in said else None


def _resistor(said: str) -> Intent | None:
    match = re.search(r"\b(dis)?connect (?:the )?resistors?\b(?:.*?([\d.]+) ohm)?", said)
    if match is None or (match[2] is None and match[1] is None):
        return None
    return Intent("resistors", float(match[2] or 0.0) * (-1.0 if match[1] else 1.0))


def _leads(said: str) -> Intent | None:
    """Return where the leads of the meter go: 1 sense terminals, 2 load's, 3 the unit's output."""
    match = re.search(r"\b(?:to|at) (?:the )?(sense|load|output) terminals\b", said)
    return None if match is None else Intent("leads", LEADS_TO[match[1]])


LEADS_TO = {"sense": 1.0, "load": 2.0, "output": 3.0}


def _number(control: Literal["voltage", "limit"], match: "re.Match[str] | None") -> Intent | None:
    if match is None:
        return None
    value = float(match[1]) * (_MILLI if match[2] else 1.0)
    return Intent(control, value) if value >= 0.0 else None
