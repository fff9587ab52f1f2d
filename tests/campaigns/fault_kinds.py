"""Every fault of the bench, how it is put in, and which ends of a run are right for it.

The lists of faults come from the simulated bench itself: a fault that it learns and that has no
expectation here fails the campaign.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import get_args

from computer import HAPPENS

from simulated_bench.instruments.faults import entries
from simulated_bench.scenario_faults import NEEDS
from simulated_bench.scenario_faults import What as UnitWhat

FOR_EVER = "30 d"

RECOVERED, UNNOTICED, FOUND = "recovered", "not noticeable", "found"
"""Went on with an event; ended as undisturbed; ended by itself with other verdicts or figures."""

STOPPED, LOUD = "stopped, safe", "NOT VERIFIED, loud"

NOT_MET, NOT_APPLICABLE = "never met", "not applicable"
"""The bench was never asked what the fault would have touched; the same where that has a reason."""

ENDS = frozenset({RECOVERED, UNNOTICED, FOUND, STOPPED, LOUD})

DEALT_WITH = frozenset({RECOVERED})
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
    not_in: Mapping[str, str] = field(default_factory=dict)
    """Phases in which it can't be met, and why; held to by running them all the same."""

    def tables(self, at: float, phase: str = "") -> list[dict[str, object]]:
        """Return what a scenario has to hold for this fault at a bench time (s)."""
        both = [self.table] if self.also is None else [self.table, self.also]
        found = [{**table, "at": f"{at:.3f} s"} for table in both]
        if phase == MAKE_SAFE:
            found.append({"what": "smoke", "at": f"{at - RAISED_BEFORE_S:.3f} s"})
        return found

    def of_computer(self, at: float) -> tuple[str, float] | None:
        """Return what has to happen to the computer, which the bench can't bring about."""
        what = str(self.table["what"])
        return (what, at) if what in HAPPENS else None

    def right(self, phase: str) -> frozenset[str]:
        if phase in self.not_in:
            return frozenset({NOT_MET})
        if phase == MAKE_SAFE:  # begun by a smoke detector, which nothing may undo
            return STOPS
        return self.except_in.get(phase, self.ends)


METER, LOAD = "voltmeter_sense", "load"
OTHERS = ("clock", "voltmeter_shunt", "voltmeter_terminals", "thermometer", "inputs", "person")

MAKE_SAFE = "make-safe"
RAISED_BEFORE_S = 0.5
"""So long before the tick that sees it the smoke detector is raised, to begin making safe."""


CLOSED = {"instrument": METER, "what": "closed connection"}

AT_THE_START = {"preflight": STOPS | DEALT_WITH}
"""A bench that doesn't answer at once is made safe, and nothing is energised: start again."""

LOAD_IS_OFF = dict.fromkeys(("preflight", "prompt"), STOPS | HARMLESS)
"""Where a load is off anyway, one that ignores a setting or is reset changes nothing."""

VALUES: Mapping[str, object] = {
    "to": "16 %",
    "by": "10 %",
    "over": "5 min",
    "lasts": "20 s",
    "step": "50 mV",
    "drop": "4 K",
    "shift": "1 h",
}

WORSE: Mapping[str, Mapping[str, object]] = {
    "leaky limit transistor": {"to": "700 %"},
    "loose heatsink": {"to": "1500 %"},
    "thermal runaway": {"to": "350 %"},
}
"""Where a factor above one is the fault: on the limit's rounding, on a thermal resistance."""

UNIT_STOPS = frozenset({"pass element short", "smoke", "interlock opened", "emergency stop"})
"""What has to stop the run, wherever it comes; all else of unit and room may be a finding."""


def kinds() -> tuple[Kind, ...]:
    """Return every fault, once and lasting where that differs."""
    return (*_of_links(), *_of_readings(), *_of_the_load(), *_of_unit_and_room(), *_of_the_others())


def names() -> frozenset[str]:
    """Return the name of every fault that the bench knows."""
    return frozenset(get_args(entries.What)) | frozenset(get_args(UnitWhat))


def _of_links() -> list[Kind]:
    found = []
    for what in get_args(entries.AnswerFault):
        table = {"instrument": METER, "what": what}
        late = {"delay": "1 s"} if what in entries.DELAYED else {}
        found.append(Kind(f"{what}, once", {**table, **late}, DEALT_WITH, AT_THE_START))
        lasting = {**table, **late, "lasts": FOR_EVER}
        found.append(Kind(f"{what}, for ever", lasting, STOPS))
    gone = {"instrument": METER, "what": "refused reconnect"}
    short = {**gone, "lasts": "3 s"}
    found.append(Kind("refused reconnect, 3 s", short, DEALT_WITH, AT_THE_START, also=CLOSED))
    found.append(Kind("refused reconnect, for ever", gone, STOPS, also=CLOSED))
    for extra in get_args(entries.StandingFault):
        if extra == "wrong instrument":
            wrong = {"instrument": METER, "what": extra, "becomes": "voltmeter_load"}
            found.append(Kind(extra, wrong, STOPS))
        elif extra != "refused reconnect":
            found.append(Kind(extra, {"instrument": METER, "what": extra}, STOPS))
    return found


def _of_readings() -> list[Kind]:
    found = []
    for what in get_args(entries.ReadingFault):
        table = {"instrument": METER, "what": what}
        # A single reading that equals the one before is like any other; the rest leaves an event.
        once = HARMLESS if what == "frozen reading" else frozenset({RECOVERED, FOUND, STOPPED})
        found.append(Kind(f"{what}, once", table, once))
        found.append(Kind(f"{what}, for ever", {**table, "lasts": FOR_EVER}, STOPS))
    return found


def _of_the_load() -> list[Kind]:
    def at_load(what: str, **more: object) -> dict[str, object]:
        return {"instrument": LOAD, "what": what, **more}

    found = [Kind("load: no answer, for ever", at_load("no answer", lasts=FOR_EVER), STOPS)]
    for what in get_args(entries.SettingFault):
        found.append(Kind(f"load: {what}, once", at_load(what), STOPS | DEALT_WITH, LOAD_IS_OFF))
        lasting = at_load(what, lasts=FOR_EVER)
        found.append(Kind(f"load: {what}, for ever", lasting, STOPS))
    found += [
        Kind(f"load: {what}", at_load(what), STOPS | DEALT_WITH, LOAD_IS_OFF)
        for what in get_args(entries.SuddenFault)
    ]
    return found


def _of_unit_and_room() -> list[Kind]:
    found = []
    for what in get_args(UnitWhat):
        needs = {key: VALUES[key] for key in NEEDS.get(what, ())} | dict(WORSE.get(what, {}))
        ends = STOPS if what in UNIT_STOPS else HARMLESS | STOPS
        if what == "disk full":
            ends = STOPS
        found.append(Kind(what, {"what": what, **needs}, ends, same_unit=what in HAPPENS))
    return found


def _of_the_others() -> list[Kind]:
    """Return a lost answer, and a lost instrument, of each that the rest does not touch."""
    found = []
    for name in OTHERS:
        table = {"instrument": name, "what": "no answer"}
        found.append(Kind(f"{name}: no answer, once", table, DEALT_WITH, AT_THE_START))
        lasting = {**table, "lasts": FOR_EVER}
        found.append(Kind(f"{name}: no answer, for ever", lasting, STOPS))
    return found
