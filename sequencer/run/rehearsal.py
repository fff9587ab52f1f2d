"""The answerer that pretends: it answers at once from a nominal model, and writes down the plan."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil

import numpy as np

from sequencer.documents.bench import BenchDocument
from sequencer.documents.channels import TYPED_PERIOD_S
from sequencer.documents.quantities import format_quantity
from sequencer.documents.unit import UnitDocument
from sequencer.record.read import Step
from sequencer.requests import (
    Answered,
    Applied,
    Apply,
    Array,
    Ask,
    LoadState,
    Note,
    Noted,
    Read,
    Readings,
    Reply,
    Request,
    Settle,
    Settled,
    SupplyState,
)
from sequencer.run import nominal
from sequencer.run import operator_words as words

PERSON_S = 20.0
"""A person needs about 20 s for one instruction."""

TYPING_S = 10.0
"""A person needs about 10 s to read a meter and type what it shows."""

FALL_S = 1.0
"""A nominal output without load falls to a third in about a second (common practice, no source)."""

NOISE_SEED = 0
"""Rehearsals are the same each time."""


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One line of a plan: when, what, and the expected operating point from then on.

    `typed` values are typed by a person; `look_s` is how long one look at all channels takes where
    that is longer than the period at which they are wanted.
    """

    at_s: float
    duration_s: float
    what: str
    current: float
    load_power: float
    unit_power: float | None
    typed: int = 0
    look_s: float = 0.0


class Rehearsal:
    """Answer from the nominal unit; keep the steps as evidence and the plan as lines."""

    def __init__(
        self,
        unit: UnitDocument,
        bench: BenchDocument,
        start_s: float = 0.0,
        knobs: Mapping[str, float | str | bool] | None = None,
    ) -> None:
        self._unit = unit
        self._bench = bench
        self.knobs = dict(knobs or {})
        self._setting = float(self.knobs.get("voltage", 0.0))
        self._load = LoadState("current", 0.0, on=False)
        self._point = nominal.nominal_point(unit, bench, 0.0, self._load)
        self._random = np.random.default_rng(NOISE_SEED)
        self._typed, self._look_s = 0, 0.0
        self._left, self._off_s = 0.0, 0.0
        self.now_s = start_s
        self.steps: list[Step] = []
        self.plan: list[PlannedStep] = []

    def answer(self, request: Request) -> Reply:
        """Return the nominal reply to `request` and let nominal time pass."""
        start, self._typed, self._look_s = self.now_s, 0, 0.0
        what, reply = self._reply(request)
        self._point = nominal.nominal_point(self._unit, self._bench, self._setting, self._load)
        self.steps.append(Step(seq=len(self.steps), request=request, reply=reply))
        self.plan.append(
            PlannedStep(
                at_s=start,
                duration_s=self.now_s - start,
                what=what,
                current=self._point.current,
                load_power=self._point.load_power,
                unit_power=self._point.unit_power,
                typed=self._typed,
                look_s=self._look_s,
            )
        )
        return reply

    def _type(self, channels: tuple[str, ...], times: int = 1) -> str:
        """Let the time for typing pass; return in words what a person has to do."""
        names = [name for name in channels if name in self._bench.typed]
        count = len(names) * times
        self._typed += count
        self.now_s += TYPING_S * count
        values = "value" if count == 1 else "values"
        return f"ask: type {count} {values} of {', '.join(names)}; " if names else ""

    def _reply(self, request: Request) -> tuple[str, Reply]:
        match request:
            case Apply(state=LoadState() as state):
                return self._load_set(state)
            case Apply(state=SupplyState() as state):
                return self._supply(state)
            case Settle():
                self.now_s += request.window_s
                return "settle", Settled(
                    at=self.now_s,
                    settled=True,
                    waited_s=request.window_s,
                    slope_per_s=dict.fromkeys(request.tolerance, 0.0),
                    scatter=dict.fromkeys(request.tolerance, 0.0),
                )
            case Read():
                every = request.period_s >= TYPED_PERIOD_S
                by_eye = self._type(request.channels, request.count if every else 1)
                return f"{by_eye}read {', '.join(request.channels)}", self._read(request)
            case Ask():
                self.now_s += PERSON_S
                self._type(() if request.channel is None else (request.channel,))
                return f"ask: {request.instruction}", Answered(self.now_s, True, float("nan"))
            case Note():
                return f"note: {request.text}", Noted(self.now_s)
        raise TypeError(f"a rehearsal can't answer {request!r}")

    def _load_set(self, state: LoadState) -> tuple[str, Reply]:
        what = _load_words(state)
        resistors = self._bench.load.resistors
        for number in sorted({*state.resistors} ^ {*self._load.resistors}):
            one, connected = resistors[number - 1], number in state.resistors
            sentence = words.connect_resistor(number, one.resistance, connected=connected)
            if one.by == "hand":
                self.now_s += PERSON_S
                what = f"ask: {sentence} Then {what}"
            else:
                what += f"; resistor {number} {'on' if connected else 'off'}"
        self._load = state
        return what, Applied(self.now_s, {})

    def _supply(self, state: SupplyState) -> tuple[str, Reply]:
        wanted: dict[str, tuple[float | str | bool | None, str]] = {
            "output": (
                state.output,
                words.SWITCH_OUTPUT_ON if state.output else words.SWITCH_OUTPUT_OFF,
            ),
            "current_limit": (state.current_limit, _limit_words(state)),
            "voltage": (state.voltage, words.set_voltage(state.voltage or 0.0)),
        }
        said = []
        for knob, (value, sentence) in wanted.items():
            if value is not None and self.knobs.get(knob) != value:
                self.knobs[knob] = value
                said.append(sentence)
        before = self._point.voltage
        self._setting = float(self.knobs.get("voltage", 0.0)) if self.knobs.get("output") else 0.0
        by_hand = self._unit.unit.control == "hand"
        if by_hand and state.voltage is not None:
            self._type((state.proof_channel,))  # also where the knob is left as it is
        self.now_s += PERSON_S * len(said) if by_hand else 0.0
        if before > 0.0 and not self.knobs.get("output"):
            self._left, self._off_s = before, self.now_s
        what = " ".join(said) or "as it is"
        return f"{'ask' if by_hand else 'supply'}: {what}", Applied(self.now_s, {})

    def _read(self, request: Read) -> Readings:
        look_s = self._look(request.channels)
        period_s = request.period_s
        if look_s > period_s:
            self._look_s = look_s
            period_s *= ceil(look_s / period_s)  # what comes too late is left out
        count = ceil(request.count * request.period_s / period_s)
        times: Array = self.now_s + period_s * np.arange(count, dtype=np.float64)
        self.now_s = float(times[-1])
        return Readings(
            asked=dict.fromkeys(request.channels, times),
            answered=dict.fromkeys(request.channels, times),
            value={channel: self._values(channel, times) for channel in request.channels},
        )

    def _look(self, channels: tuple[str, ...]) -> float:
        """Return how long a scanner needs to visit channels one after the other, in s."""
        entries = (self._bench.channels[c] for c in channels if c in self._bench.channels)
        by_scanner: dict[str, float] = {}
        for one in entries:
            if one.through is not None:
                takes_s = one.settling_s + (one.integration or 0.0)
                by_scanner[one.through] = by_scanner.get(one.through, 0.0) + takes_s
        return max(by_scanner.values(), default=0.0)

    def _values(self, channel: str, times: Array) -> Array:
        point = self._point
        left: Array = np.zeros(times.size)
        if not self.knobs.get("output") and not self._load.on:
            left = self._left * np.exp((self._off_s - times) / FALL_S)
        values = {
            "voltage.sense": point.voltage + left,
            "voltage.load": point.voltage + left,
            "voltage.terminals": point.voltage_at_terminals + left,
            "temperature.heatsink": nominal.ROOM_DEGC
            + nominal.HEATSINK_K_PER_W * (point.unit_power or 0.0),
            "temperature.ambient": nominal.ROOM_DEGC,
        }
        by_name = point.current if channel.startswith("current.") else 0.0
        level = np.asarray(values.get(channel, by_name))
        entry = self._bench.channels[channel]
        noise = self._random.normal(0.0, entry.accuracy.noise * entry.scale, times.size)
        drawn: Array = level + noise
        return drawn


LOAD_WORDS = {
    "current": ("draws", "A", 4),
    "voltage": ("holds", "V", 6),
    "resistance": ("is", "ohm", 4),
    "power": ("takes", "W", 4),
}
"""Of each load mode: the verb, the unit, and how many digits tell neighbouring points apart."""


def _load_words(state: LoadState) -> str:
    if not state.on:
        return "load off"
    verb, unit, digits = LOAD_WORDS[state.mode]
    return f"load {verb} {format_quantity(state.level, unit, digits)}"


def _limit_words(state: SupplyState) -> str:
    limit = state.current_limit
    return "" if limit is None else words.set_current_limit(limit)
