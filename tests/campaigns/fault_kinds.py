"""Every fault of the bench, how it is put in, and which ends of a run are right for it.

The lists of faults come from the simulated bench itself: a fault that it learns and that has no
expectation here fails the campaign.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import get_args

from simulated_bench.instruments.faults import entries
from simulated_bench.scenario_faults import NEEDS
from simulated_bench.scenario_faults import What as UnitWhat

FOR_EVER = "30 d"

RECOVERED, UNNOTICED, FOUND = "recovered", "not noticeable", "found"
"""Went on with an event; ended as undisturbed; ended by itself with other verdicts or figures."""

STOPPED, LOUD = "stopped, safe", "NOT VERIFIED, loud"

ENDS = frozenset({RECOVERED, UNNOTICED, FOUND, STOPPED, LOUD})

WENT_ON = frozenset({RECOVERED, UNNOTICED})
HARMLESS = frozenset({RECOVERED, UNNOTICED, FOUND})
STOPS = frozenset({STOPPED, LOUD})


@dataclass(frozen=True)
class Kind:
    """One fault as it is put in.

    `ends` are the right ends, in every phase but those in `except_in`. `same_unit` says that the
    unit stays what it was: figures that passed must then be those of the undisturbed run.
    """

    name: str
    table: Mapping[str, object]
    ends: frozenset[str]
    except_in: Mapping[str, frozenset[str]] = field(default_factory=dict)
    same_unit: bool = True
    also: Mapping[str, object] | None = None
    """A second fault at the same time, without which the first is not met."""

    def tables(self, at: str) -> list[dict[str, object]]:
        """Return what a scenario has to hold for this fault at a bench time."""
        both = [self.table] if self.also is None else [self.table, self.also]
        return [{**table, "at": at} for table in both]

    def right(self, phase: str) -> frozenset[str]:
        return self.except_in.get(phase, self.ends)


METER, LOAD = "voltmeter_sense", "load"

CLOSED = {"instrument": METER, "what": "closed connection"}

AT_THE_END = {"make-safe": STOPS | WENT_ON}
"""While making safe a lost meter can't prove anything; a short loss is over in time."""

VALUES: Mapping[str, object] = {
    "to": "30 %",
    "by": "10 %",
    "over": "5 min",
    "lasts": "20 s",
    "step": "50 mV",
    "drop": "4 K",
    "shift": "1 h",
}

UNIT_ENDS: Mapping[str, frozenset[str]] = {
    "pass element short": STOPS,
    "pass element open": STOPS | {FOUND},
    "dead diode": HARMLESS | STOPS,
    "dried-out reservoir": HARMLESS | STOPS,
    "reference leak": HARMLESS,
    "trimmer jump": HARMLESS,
    "sense lead open": HARMLESS | STOPS,
    "leaky limit transistor": HARMLESS,
    "oscillation": HARMLESS,
    "loose heatsink": HARMLESS | STOPS,
    "thermal runaway": HARMLESS | STOPS,
    "line failure": HARMLESS | STOPS,
    "line surge": HARMLESS,
    "line sag": HARMLESS | STOPS,
    "door opened": HARMLESS,
    "smoke": STOPS,
    "interlock opened": STOPS,
    "emergency stop": STOPS,
    "clock step": HARMLESS,
    "disk full": HARMLESS | STOPS,
}


def kinds() -> tuple[Kind, ...]:
    """Return every fault, once and lasting where that differs."""
    return (*_of_links(), *_of_readings(), *_of_the_load(), *_of_unit_and_room())


def names() -> frozenset[str]:
    """Return the name of every fault that the bench knows."""
    return frozenset(get_args(entries.What)) | frozenset(get_args(UnitWhat))


def _of_links() -> list[Kind]:
    found = []
    for what in get_args(entries.AnswerFault):
        table = {"instrument": METER, "what": what}
        late = {"delay": "1 s"} if what in entries.DELAYED else {}
        found.append(Kind(f"{what}, once", {**table, **late}, WENT_ON))
        lasting = {**table, **late, "lasts": FOR_EVER}
        found.append(Kind(f"{what}, for ever", lasting, STOPS, AT_THE_END))
    gone = {"instrument": METER, "what": "refused reconnect"}
    found.append(Kind("refused reconnect, 3 s", {**gone, "lasts": "3 s"}, WENT_ON, also=CLOSED))
    found.append(Kind("refused reconnect, for ever", gone, STOPS, AT_THE_END, also=CLOSED))
    for extra in get_args(entries.StandingFault):
        if extra == "wrong instrument":
            wrong = {"instrument": METER, "what": extra, "becomes": "voltmeter_load"}
            found.append(Kind(extra, wrong, STOPS, AT_THE_END))
        elif extra != "refused reconnect":
            found.append(Kind(extra, {"instrument": METER, "what": extra}, STOPS, AT_THE_END))
    return found


def _of_readings() -> list[Kind]:
    found = []
    for what in get_args(entries.ReadingFault):
        table = {"instrument": METER, "what": what}
        once = WENT_ON | {FOUND, STOPPED}
        # A reading without a number leaves an event, except of what only proves the safe state.
        told = once - {UNNOTICED} if what == "not a number" else once
        found.append(Kind(f"{what}, once", table, told, {"make-safe": once}))
        lasting = {**table, "lasts": FOR_EVER}
        found.append(Kind(f"{what}, for ever", lasting, STOPS, AT_THE_END))
    return found


def _of_the_load() -> list[Kind]:
    def at_load(what: str, **more: object) -> dict[str, object]:
        return {"instrument": LOAD, "what": what, **more}

    lost = at_load("no answer", lasts=FOR_EVER)
    ignored = get_args(entries.SettingFault)
    found = [Kind("load: no answer, for ever", lost, STOPS, AT_THE_END)]
    for what in ignored:
        found.append(Kind(f"load: {what}, once", at_load(what), STOPS | WENT_ON))
        lasting = at_load(what, lasts=FOR_EVER)
        found.append(Kind(f"load: {what}, for ever", lasting, STOPS, AT_THE_END))
    sudden = get_args(entries.SuddenFault)
    found += [Kind(f"load: {what}", at_load(what), STOPS | HARMLESS) for what in sudden]
    return found


def _of_unit_and_room() -> list[Kind]:
    found = []
    for what in get_args(UnitWhat):
        needs = {key: VALUES[key] for key in NEEDS.get(what, ())}
        ends = UNIT_ENDS[what]
        at_end = {"make-safe": ENDS}
        found.append(Kind(what, {"what": what, **needs}, ends, at_end, same_unit=False))
    return found
