"""The answerer that is the bench itself: it carries requests out and records all it sees."""

from array import array
from collections.abc import Callable, Sequence
from functools import partial
from math import isnan
from typing import Literal, Protocol

import numpy as np

from drivers.errors import InstrumentError
from drivers.roles import Bench, Reading
from sequencer.documents.channels import TYPED_PERIOD_S
from sequencer.errors import BenchFailed, TrialStopped
from sequencer.numerics.settling import settled as is_settled
from sequencer.record.read import NO_READINGS, Step
from sequencer.requests import (
    Answered,
    Applied,
    Apply,
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
from sequencer.run import operator_words as words
from sequencer.run.beside_load import BesideLoad
from sequencer.run.guards import Guards
from sequencer.run.leads import Leads
from sequencer.run.no_number import NoNumber, writes
from sequencer.run.typed import Typist

WATCH_PERIOD_S = 1.0
"""Through longer waits the guards look this often."""

PROMPT_PERIOD_S = 1.0
"""How often the reading in front of a person is renewed."""

LIFTED_PERIOD_S = 0.25
"""Leads are off both places for a second or two; that has to be seen."""

STEADY_COUNT = 3
"""So many readings in a row must lie in the band before a knob counts as set."""

OPERATOR_LIMIT_S = 600.0
"""A person gets ten minutes for one instruction."""


RowRole = Literal["read", "settle", "ask", "watch"]
Severity = Literal["note", "warning", "alarm"]


class Recorder(Protocol):
    """What the live bench needs of the record."""

    def begin_request(self, request: Request, at: float) -> int:
        """Store a request and return its number."""

    def add_readings(self, seq: int, tick: int, readings: Sequence[Reading], role: RowRole) -> None:
        """Store the readings of one tick."""

    def end_request(self, seq: int, reply: Reply) -> None:
        """Store the reply."""

    def event(self, at: float, kind: str, severity: Severity, text: str) -> None:
        """Store an event."""


class LiveBench:
    """Answer requests by doing them on an opened bench; every reading passes the guards."""

    def __init__(
        self,
        bench: Bench,
        recorder: Recorder,
        guards: Guards,
        on_time: Callable[[float], None] = lambda _: None,
        check_stop: Callable[[], None] = lambda: None,
        leads: Leads | None = None,
        typist: Typist | None = None,
    ) -> None:
        self._bench = bench
        self._clock = bench.clock
        self._recorder = recorder
        self._guards = guards
        self._on_time = on_time
        self._check_stop = check_stop
        self.leads = leads or Leads()
        self._typist = typist
        self._typed = frozenset() if typist is None else typist.channels
        guards.leave_out(self.leads.away | self._typed)
        self._last_read: dict[str, float] = {}
        self._no_number = NoNumber(writes(recorder.event))
        self._seq = 0
        self._knobs: dict[str, float | str | bool] = {}
        self._beside = BesideLoad(bench, guards.point.resistors)
        bench.watch_with(self._look)

    def answer(self, request: Request) -> Reply:
        """Carry out one request and return its reply.

        Raises
        ------
        GuardTripped, BenchFailed, TrialStopped
            After what was read so far is in the record; making safe is the caller's.
        """
        self._check_stop()
        self._seq = seq = self._recorder.begin_request(request, self._clock.now())
        try:
            reply = self._carry_out(seq, request)
        except InstrumentError as error:
            raise BenchFailed(str(error)) from error
        self._recorder.end_request(seq, reply)
        return reply

    def go_on(self, step: Step) -> Reply:
        """Go on with a Read that was cut off, under its own number; as `answer` otherwise."""
        if not isinstance(step.request, Read):
            raise TypeError(f"only a Read can go on, not {step.request!r}")
        self._check_stop()
        self._seq = step.seq
        try:
            reply = self._read(step.seq, step.request, step.readings)
        except InstrumentError as error:
            raise BenchFailed(str(error)) from error
        self._recorder.end_request(step.seq, reply)
        return reply

    def _carry_out(self, seq: int, request: Request) -> Reply:
        match request:
            case Apply(state=LoadState() as state):
                return self._apply_load(state)
            case Apply(state=SupplyState() as state):
                return self._apply_supply(seq, state)
            case Settle():
                return self._settle(seq, request)
            case Read():
                return self._read(seq, request)
            case Ask():
                return self._ask(seq, request)
            case Note():
                at = self._clock.now()
                self._recorder.event(at, "remark", request.severity, request.text)
                return Noted(at=at)
        raise TypeError(f"the live bench can't answer {request!r}")

    def _tick(
        self, seq: int, tick: int, at: float, channels: tuple[str, ...], role: RowRole
    ) -> tuple[Reading, ...]:
        """Read channels, and the guarded ones when due; record first, then look at the guards."""
        self._check_stop()
        wanted = channels
        if away := self.leads.elsewhere(wanted):
            raise TrialStopped(
                f"{', '.join(sorted(away))} can't be read: the meter's leads are elsewhere."
            )
        typed = self._type(seq, tick, wanted)
        if typed:
            at = typed[-1].answered_at
            self._recorder.add_readings(seq, tick, typed, role)
            self._guards.check(typed)
            wanted = channels = tuple(c for c in wanted if c not in self._typed)
        if due := self._guards.due(at, self._last_read):
            channels = tuple(dict.fromkeys((*wanted, *due)))
        self._last_read.update(dict.fromkeys(channels, at))
        readings = self._bench.read(channels) if channels else ()
        self._recorder.add_readings(seq, tick, readings[: len(wanted)], role)
        if len(channels) > len(wanted):
            self._recorder.add_readings(seq, tick, readings[len(wanted) :], "watch")
        self._no_number.see(readings)
        self._guards.check(readings)
        self._on_time(at)
        return (*typed, *readings[: len(wanted)])

    def _type(self, seq: int, tick: int, wanted: Sequence[str]) -> tuple[Reading, ...]:
        """Have a person type what is typed among the channels; the guards look meanwhile."""
        names = [name for name in wanted if name in self._typed]
        if not names or self._typist is None:
            return ()
        watch = partial(self._tick, seq, tick, channels=(), role="watch")
        return tuple(self._typist.read(name, watch) for name in names)

    def _look(self, reachable: Callable[[Sequence[str]], tuple[str, ...]]) -> None:
        """Look at the guards while a lost instrument is tried again; a second loss is told."""
        self._check_stop()
        channels = reachable(self._guards.channels)
        try:
            readings = self._bench.read(channels) if channels else ()
        except InstrumentError as error:
            self._recorder.event(self._clock.stamp(), "lost", "warning", str(error))
            return
        self._recorder.add_readings(self._seq, 0, readings, "watch")
        self._guards.check(readings)

    def _read(self, seq: int, request: Read, before: Readings = NO_READINGS) -> Readings:
        """Read on the schedule; `before` is what was read until the run was interrupted."""
        wanted = request.channels
        once = self._typed if request.period_s < TYPED_PERIOD_S else frozenset()
        often = tuple(c for c in wanted if c not in once)
        first = min((before.value[c].size if c in before.value else 0) for c in (often or wanted))
        # Arrays of doubles: a week at one reading a second stays under 15 MB a channel.
        asked, answered, value = (
            {channel: array("d", kept.get(channel, ())[:first]) for channel in wanted}
            for kept in (before.asked, before.answered, before.value)
        )
        now = self._clock.now()
        start = now - first * request.period_s
        for tick in range(first, request.count):
            due = start + tick * request.period_s
            if tick > first and now - due > request.period_s:
                continue  # missed: the schedule is absolute, so the gap stays visible
            at = self._wait(seq, tick, now, due) if tick > first else now
            for reading in self._tick(seq, tick, at, wanted if tick == 0 else often, "read"):
                asked[reading.channel].append(reading.asked_at)
                answered[reading.channel].append(reading.answered_at)
                value[reading.channel].append(reading.value)
                now = reading.answered_at
            if tick == 0 and self._typed.intersection(wanted):
                start = now  # the others follow from when the value was there
        if often and len(value[often[0]]) < request.count:
            missed = request.count - len(value[often[0]])
            self._recorder.event(
                now, "late", "warning", f"{missed} of {request.count} readings came too late."
            )
        return Readings(
            asked={c: np.array(v) for c, v in asked.items()},
            answered={c: np.array(v) for c, v in answered.items()},
            value={c: np.array(v) for c, v in value.items()},
        )

    def _wait(self, seq: int, tick: int, now: float, due: float) -> float:
        """Wait until `due`; over long waits the guards go on watching."""
        while due - now > WATCH_PERIOD_S:
            now = self._clock.sleep_until(now + WATCH_PERIOD_S)
            self._tick(seq, tick, now, (), "watch")
        return self._clock.sleep_until(due)

    def _settle(self, seq: int, request: Settle) -> Settled:
        channels = tuple(request.tolerance)
        times: dict[str, list[float]] = {channel: [] for channel in channels}
        values: dict[str, list[float]] = {channel: [] for channel in channels}
        start = at = self._clock.now()
        tick = 0
        while True:
            for reading in self._tick(seq, tick, at, channels, "settle"):
                if not isnan(reading.value):
                    times[reading.channel].append(reading.answered_at)
                    values[reading.channel].append(reading.value)
            results = {
                channel: is_settled(
                    np.array(times[channel]),
                    np.array(values[channel]),
                    window_s=request.window_s,
                    tolerance=tolerance,
                )
                for channel, tolerance in request.tolerance.items()
            }
            # Where only a person could tell, the window is what is waited for.
            done = all(r.settled for r in results.values()) and (
                bool(results) or at - start >= request.window_s
            )
            if done or at - start >= request.limit_s:
                return Settled(
                    at=at,
                    settled=done,
                    waited_s=at - start,
                    slope_per_s={c: r.slope_per_s for c, r in results.items()},
                    scatter={c: r.scatter for c, r in results.items()},
                )
            tick += 1
            at = self._wait(seq, tick, at, start + tick * request.period_s)

    def _apply_load(self, state: LoadState) -> Applied:
        if self._bench.load is None:
            raise TrialStopped("The trial sets a load, but the bench document names none.")
        self._move_resistors(state)
        # Learnt before it is done: a load that takes more than it was told is caught in the act.
        self._guards.point.load(state, self._clock.now())
        read_back = self._bench.load.apply(state.mode, state.level, on=state.on)
        return Applied(at=self._clock.now(), read_back=read_back)

    def _move_resistors(self, state: LoadState) -> None:
        """Connect and take off what the state needs beside the load, which is off meanwhile."""
        beside, point = self._beside, self._guards.point
        if self._bench.load is None or state.resistors == beside.connected:
            return
        both = tuple(sorted({*state.resistors, *beside.connected}))
        point.load(LoadState("current", 0.0, on=False, resistors=both), self._clock.now())
        self._bench.load.apply("current", 0.0, on=False)
        channel = next(iter(point.current_channels), None)
        seq = self._seq
        beside.move(state.resistors, point.setting or 0.0, channel, lambda ask: self._ask(seq, ask))

    def _apply_supply(self, seq: int, state: SupplyState) -> Applied:
        point = self._guards.point
        point.knob_moves = True  # while knobs turn only fixed bounds hold
        if state.output is True:
            point.supply(SupplyState(output=True), self._clock.now())
        applied = self._set_supply(seq, state)
        point.supply(state, applied.at)
        point.knob_moves = False
        return applied

    def _set_supply(self, seq: int, state: SupplyState) -> Applied:
        if self._bench.supply is not None:
            limit = state.current_limit
            read_back = self._bench.supply.apply(
                voltage=state.voltage,
                current_limit=None if limit == "maximum" else limit,
                output=state.output,
            )
            return Applied(at=self._clock.now(), read_back=read_back)
        if state.output is False:
            self._knob(seq, "output", value=False, text=words.SWITCH_OUTPUT_OFF)
        if state.current_limit is not None:
            self._knob(
                seq,
                "current_limit",
                value=state.current_limit,
                text=words.set_current_limit(state.current_limit),
            )
        if state.output is True:
            self._knob(seq, "output", value=True, text=words.SWITCH_OUTPUT_ON)
        if state.voltage is not None:
            self._set_voltage_by_hand(seq, state.voltage, state)
        return Applied(at=self._clock.now(), read_back=dict(self._knobs))

    def _knob(self, seq: int, name: str, *, value: float | str | bool, text: str) -> None:
        if self._knobs.get(name) == value:
            return
        answer = self._ask(seq, Ask(instruction=text, limit_s=OPERATOR_LIMIT_S))
        if not answer.done:
            raise TrialStopped(f"Nobody confirmed within {OPERATOR_LIMIT_S:.0f} s: {text}")
        self._knobs[name] = value

    def _set_voltage_by_hand(self, seq: int, voltage: float, state: SupplyState) -> None:
        low, high = voltage - state.band, voltage + state.band
        if self._knobs.get("voltage") == voltage:
            at = self._clock.now()
            reading = self._tick(seq, 0, at, (state.proof_channel,), "ask")[0]
            if low <= reading.value <= high:
                return
        text = words.set_voltage(voltage)
        answer = self._ask(
            seq,
            Ask(
                instruction=text,
                channel=state.proof_channel,
                low=low,
                high=high,
                limit_s=OPERATOR_LIMIT_S,
            ),
        )
        if not answer.done:
            raise TrialStopped(
                f"{state.proof_channel} read {answer.value:.6g} V after "
                f"{OPERATOR_LIMIT_S:.0f} s, not within {low:.6g} to {high:.6g} V as the "
                f"instruction asks ({text}) Look at the sense leads, the output switch and the "
                "load before trying again."
            )
        self._knobs["voltage"] = voltage

    def _lift(self, channel: str) -> None:
        """Learn that leads are being moved; until that is proven nothing shows where they are."""
        self.leads.in_air = True
        self.leads.move_to(channel)
        self._guards.leave_out(self.leads.away | self._typed)

    def _ask(self, seq: int, request: Ask) -> Answered:
        operator = self._bench.operator
        if operator is None:
            raise TrialStopped(
                f"A person is needed ({request.instruction}), but the bench document says that "
                'operator = "none".'
            )
        operator.instruct(request.instruction)
        if request.lifted and request.channel is not None:
            self._lift(request.channel)
        by_eye = request.channel in self._typed
        lifted = not request.lifted or by_eye
        start = at = self._clock.now()
        in_band = 0
        tick = 0
        value = float("nan")
        try:
            while at - start < request.limit_s:
                said = operator.state()
                if said.state == "confused":
                    self._check_stop()  # a terminal that was closed ends its input, too
                    raise TrialStopped(
                        f"The person could not do what was asked ({request.instruction}): "
                        f"{said.remark or 'no reason given'}"
                    )
                # Who turns a knob can't type at the same time.
                waits = request.channel is None or (by_eye and said.state != "done")
                channels = () if waits or request.channel is None else (request.channel,)
                for reading in self._tick(seq, tick, at, channels, "ask"):
                    value = reading.value
                    within = request.low <= value <= request.high
                    lifted = lifted or not within
                    in_band = in_band + 1 if within and lifted else 0
                    operator.show(reading.channel, value, within=within)
                by_word = request.channel is None
                enough = 1 if by_eye else STEADY_COUNT
                done = said.state == "done" if by_word else in_band >= enough
                if done and not (request.lifted and said.state != "done"):
                    self.leads.in_air = False
                    return Answered(at=at, done=True, value=value)
                tick += 1
                period_s = LIFTED_PERIOD_S if request.lifted else PROMPT_PERIOD_S
                at = self._clock.sleep_until(start + tick * period_s)
            return Answered(at=at, done=False, value=value)
        finally:
            operator.finish()
