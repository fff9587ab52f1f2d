"""The person at the unit: hears an instruction, turns a knob after a while, trims by the reading.

People take a few seconds, leave the knob within a human resolution, and with the scenario's
probability do something wrong: a neighbouring switch, the limit knob halfway, or nothing at all
while saying that it is done (common practice, no source).
"""

import re
from dataclasses import dataclass
from typing import Final, Literal, Protocol

from numpy.random import Generator

from simulated_bench.faces import Place
from simulated_bench.instruction import Intent, understand
from simulated_bench.quantities import Uncertain
from simulated_bench.scenario_models import PersonTable

FAR_V: Final = 3.0
"""Further from what was asked than this, a sensible person asks instead of turning on."""

TRIM_SKILL: Final = 0.1
"""A turn of the trimmer is wrong by up to this part of what was meant."""

LIFTED: Final = 0.3
"""Leads are off both places from this part of the movement on."""

MOST_FAR: Final = 3
"""So many such readings in a row: a first one may have been taken before the hand had moved."""

MOST_TRIMS: Final = 40

POINT: Final = re.compile(r"(\d)(\.)(\d)")
"""Where a point is typed one digit too late."""

MOST_ASKED: Final = 20
"""Movements that a person keeps in mind; real ones fewer, but nobody asks while one is busy."""

LEADS: Final[dict[float, Place]] = {1.0: "sense", 2.0: "load", 3.0: "terminals"}
"""Places that the leads of a meter are moved to, by the amount of the movement; 0 is a hand."""

Said = Literal["BUSY", "DONE", "CONFUSED"]


class Hands(Protocol):
    """What the person can do to the bench."""

    @property
    def now(self) -> float:
        """Bench time."""

    def later(self, delay_s: float, action: "Action") -> None:
        """Carry an action out after a delay."""

    def log(self, kind: str, text: str) -> None:
        """Remember what happened."""

    def voltage(self, place: Literal["panel"]) -> float:
        """Return what a panel meter shows."""

    def current(self, place: Literal["panel"]) -> float:
        """Return what a panel meter shows."""


@dataclass(frozen=True, slots=True)
class Action:
    """One movement of a hand: `amount` is V, A, 1/0; for a trim the change in V."""

    control: Literal["voltage", "trim", "limit", "output", "line", "leads", "resistors", "nothing"]
    amount: float


class Person:
    """Implements `simulated_bench.faces.PersonFace`."""

    def __init__(self, hands: Hands, habits: PersonTable, generator: Generator) -> None:
        self._hands = hands
        self._habits = habits
        self._generator = generator
        self._intent: Intent | None = None
        self._said: Said = "DONE"
        self._remark = "nothing was asked"
        self._wrong = False
        self._trims = 0
        self._far = 0
        self._asked = 0
        self.typed = ""

    def instruct(self, text: str) -> None:
        """Hear an instruction in plain English."""
        self._hands.log("person", f"heard: {text}")
        self._trims = 0
        self._far = 0
        intent = understand(text)
        self._intent = intent
        if intent is None:
            self._say("CONFUSED", "I do not understand what to do")
            return
        if self._asked >= MOST_ASKED:
            self._say("CONFUSED", "that is too much at once")
            return
        self._wrong = bool(self._generator.uniform() < self._habits.mistake.nominal)
        self._say("BUSY", "")
        self._asked += 1
        takes_s, action = self._takes(self._habits.delay), self._action(intent)
        if action.control == "leads":
            self._hands.later(LIFTED * takes_s, Action("leads", 0.0))
        self._hands.later(takes_s, action)

    def show(self, value: float, *, within: bool) -> None:
        """See the live reading; trim towards what was asked when it is outside its band."""
        if self._intent is None or self._intent.control != "voltage" or self._said != "DONE":
            return
        if within:
            return
        wanted = self._intent.value or 0.0
        error = wanted - value
        if not abs(error) < FAR_V:
            self._far += 1
            if self._far >= MOST_FAR:
                self._say("CONFUSED", f"the reading, {value:.6g} V, is far from what the knobs say")
            return
        self._far = 0
        self._trims += 1
        if self._trims > MOST_TRIMS:
            self._say("CONFUSED", f"the reading, {value:.6g} V, does not follow the knob")
        else:
            self._say("BUSY", "")
            if self._wrong:
                self._wrong = False  # the reading shows the wrong switch
                action = self._action(self._intent)
            else:
                turn = error * (1.0 + float(self._generator.uniform(-TRIM_SKILL, TRIM_SKILL)))
                action = Action("trim", self._rounded(turn, self._habits.resolution.nominal))
            self._asked += 1
            self._hands.later(self._takes(self._habits.trim_delay), action)

    def state(self) -> tuple[Said, str]:
        """Return what the person says, with a remark."""
        return self._said, self._remark

    def finish(self) -> None:
        """Hear that the instruction is done with."""
        self._intent = None
        if self._said != "BUSY":
            self._say("DONE", "")

    def read(self, which: Literal["voltage", "current"]) -> tuple[float, float]:
        """Read a panel meter; return what was read and how many seconds that takes.

        What a needle or the last digit lets one read is the meter's business; with the scenario's
        probability of a mistake the person looks at the wrong one.
        """
        meters = (self._hands.voltage("panel"), self._hands.current("panel"))
        wrong = bool(self._generator.uniform() < self._habits.mistake.nominal)
        if wrong:
            self._hands.log("mistake", "the person reads the other panel meter")
        return meters[(which == "current") != wrong], self._takes(self._habits.trim_delay)

    def type_in(self, shown: str) -> None:
        """Type what a meter shows, after a while; a mistake moves the decimal point."""
        if self._asked >= MOST_ASKED:
            self._say("CONFUSED", "that is too much at once")
            return
        wrong = bool(self._generator.uniform() < self._habits.mistake.nominal)
        if wrong:
            self._hands.log("mistake", f"the person types {shown} with its point elsewhere")
        self.typed = POINT.sub(r"\1\3.", shown) if wrong else shown
        self._say("BUSY", "")
        self._asked += 1
        self._hands.later(self._takes(self._habits.trim_delay), Action("nothing", 0.0))

    def moved(self) -> None:
        """Hear from the hand that a movement has ended; the last asked for is what is done."""
        self._asked -= 1
        if self._said == "BUSY" and self._asked == 0:
            self._say("DONE", "")

    def _say(self, said: Said, remark: str) -> None:
        self._said, self._remark = said, remark
        if said == "CONFUSED":
            self._hands.log("person", remark)

    def _takes(self, delay: Uncertain) -> float:
        return max(
            0.0, delay.nominal + delay.half_width * float(self._generator.uniform(-1.0, 1.0))
        )

    def _rounded(self, amount: float, resolution: float) -> float:
        """Return an amount as a hand leaves it: somewhere within one resolution."""
        return amount + resolution * float(self._generator.uniform(-0.5, 0.5))

    def _action(self, intent: Intent) -> Action:
        value = intent.value
        if self._wrong:
            self._hands.log("mistake", f"the person gets {intent.control} wrong")
        match intent.control:
            case "voltage":
                volts = (value or 0.0) + (1.0 if self._wrong else 0.0)
                return Action("voltage", volts)
            case "limit" if value is None:
                return Action("limit", float("inf") if not self._wrong else 0.0)
            case "limit":
                amperes = self._rounded(value or 0.0, self._habits.limit_resolution.nominal)
                return Action("limit", 0.5 * amperes if self._wrong else amperes)
            case _:
                if self._wrong:
                    return Action("nothing", 0.0)
                return Action(intent.control, value or 0.0)
