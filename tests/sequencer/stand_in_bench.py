"""A bench without instruments: a clock that obeys, channels from functions of time and state."""

from collections.abc import Callable, Mapping, Sequence
from typing import Literal

from drivers.roles import Flag, LoadMode, OperatorState, Reading

Value = float | tuple[float, Flag]


class ObedientClock:
    """Time passes only when somebody waits."""

    def __init__(self) -> None:
        self.time = 0.0

    def now(self) -> float:
        return self.time

    stamp = now

    def sleep_until(self, at: float) -> float:
        self.time = max(self.time, at)
        return self.time


class StandInLoad:
    """A load that remembers what it was told; `stuck` never confirms that it is off."""

    def __init__(self) -> None:
        self.mode: LoadMode = "current"
        self.level = 0.0
        self.on = False
        self.stuck = False
        self.history: list[tuple[str, float, bool]] = []

    def apply(self, mode: LoadMode, level: float, *, on: bool) -> Mapping[str, float | str | bool]:
        self.mode, self.level, self.on = mode, level, on
        self.history.append((mode, level, on))
        return {"mode": mode, "level": level, "on": on}

    def off(self) -> bool:
        if not self.stuck:
            self.on = False
        return not self.on


class StandInSwitch:
    """Relays that remember what they were told; what `welded` names never opens again."""

    def __init__(self) -> None:
        self.closed: set[str] = set()
        self.welded: set[str] = set()

    def switch(self, output: str, *, closed: bool) -> bool:
        if closed:
            self.closed.add(output)
        elif output not in self.welded:
            self.closed.discard(output)
        return closed == (output in self.closed)


class StandInPerson:
    """A person who does at once what is said; `deaf` never does, `lost` does not understand."""

    def __init__(self) -> None:
        self.heard: list[str] = []
        self.finished = 0
        self.deaf = False
        self.lost = False
        self.lines: list[str] = []
        self.asked: list[str] = []
        self.replies: list[str] = []
        self._typed: str | None = None
        self.on_hearing: Callable[[str], None] = lambda _: None

    def ask_value(self, text: str, meter: str) -> None:
        """Answer with the next of `lines`; without one stay busy."""
        del meter
        self.asked.append(text)
        self._typed = self.lines.pop(0) if self.lines else None
        self.deaf = self._typed is None

    def reply(self, text: str) -> None:
        self.replies.append(text)

    def instruct(self, text: str) -> None:
        self.heard.append(text)
        if not self.deaf:
            self.on_hearing(text)

    def show(self, text: str, value: float, *, within: bool) -> None:
        del text, value, within

    def state(self) -> OperatorState:
        state: Literal["busy", "done", "confused"] = "done"
        if self.deaf:
            state = "busy"
        if self.lost:
            state = "confused"
        return OperatorState(state, "what knob?" if self.lost else "", self._typed or "")

    def finish(self) -> None:
        self.finished += 1


class StandInBench:
    """The bench: `channels` maps a name to a function of time."""

    def __init__(self, channels: Mapping[str, Callable[[float], Value]]) -> None:
        self.clock = ObedientClock()
        self.load: StandInLoad | None = StandInLoad()
        self.supply = None
        self.line_source = None
        self.switches: dict[str, StandInSwitch] = {}
        self.operator: StandInPerson | None = StandInPerson()
        self.channels = channels
        self.closed = False
        self.reading_time_s = 0.1

    def watch_with(self, watcher: object) -> None:
        self.watcher = watcher

    def identities(self) -> Mapping[str, str]:
        return {"meter": "WORKSHOP,METER,1,1"}

    def ranges(self) -> Mapping[str, float]:
        return {}

    def read(self, channels: Sequence[str]) -> tuple[Reading, ...]:
        asked = self.clock.now()
        self.clock.sleep_until(asked + self.reading_time_s)
        return tuple(self._reading(channel, asked) for channel in channels)

    def _reading(self, channel: str, asked: float) -> Reading:
        found = self.channels[channel](asked)
        value, flag = found if isinstance(found, tuple) else (found, "")
        return Reading(channel, value, f"{value:.9E}", asked, self.clock.now(), flag)

    def check_errors(self) -> tuple[str, ...]:
        return ()

    def close(self) -> None:
        self.closed = True


class Notebook:
    """A recorder that keeps everything in lists."""

    def __init__(self) -> None:
        self.requests: list[object] = []
        self.replies: dict[int, object] = {}
        self.readings: list[tuple[int, int, str, Reading]] = []
        self.events: list[tuple[str, str, str]] = []

    def begin_request(self, request: object, at: float) -> int:
        del at
        self.requests.append(request)
        return len(self.requests) - 1

    def add_readings(self, seq: int, tick: int, readings: Sequence[Reading], role: str) -> None:
        self.readings.extend((seq, tick, role, reading) for reading in readings)

    def end_request(self, seq: int, reply: object) -> None:
        self.replies[seq] = reply

    def event(self, at: float, kind: str, severity: str, text: str, detail: object = None) -> None:
        del at, detail
        self.events.append((kind, severity, text))
