"""How an interrupted run goes on: what the record answers, what is done anew, and by which rule."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import isnan
from typing import Any, Literal

import numpy as np
from pydantic import BaseModel

from drivers.errors import InstrumentError
from drivers.roles import Bench
from sequencer.documents.profile import Resume
from sequencer.errors import BenchFailed
from sequencer.order import Turn
from sequencer.record.read import STARTED_OVER, Step
from sequencer.record.write import RecordWriter
from sequencer.requests import Read
from sequencer.run.event_kinds import RESUMED
from sequencer.run.live import LiveBench
from sequencer.run.loop import perform
from sequencer.run.replay import Replay
from sequencer.run.rest import measures, rest_of, rest_s, takes_s
from sequencer.run.restoring import restoring
from sequencer.trials.trial import Context, Trial

RESTORING = 2_000_000
"""What brings the bench back to where it was stands in the record as trials from this number on,
so that it is no part of any trial's own requests."""

SAME = 0.02
"""A reading within 2 % of the last one before the gap: the unit kept its load and its setting."""

LEAST_SAME = 0.05

Way = Literal["go on", "warm up again and go on", "start over"]
WAYS: Mapping[Way, str] = {
    "go on": "goes on where it was cut off",
    "warm up again and go on": "goes on where it was cut off, after a new warm-up",
    "start over": "STARTS OVER",
}


@dataclass(frozen=True, slots=True)
class Decision:
    """What becomes of an interrupted trial, and why, in words."""

    way: Way
    why: str


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a run that goes on will do, a line for each trial, and how long that will take."""

    lines: tuple[str, ...]
    left_s: float


class Past:
    """What a record holds of each trial, and how the run goes on from there.

    Parameters
    ----------
    steps
        Of each trial of the profile.
    rules
        The profile's.
    last_time_s
        Bench time of the last entry.
    last_request
        Its number.
    restored
        How often the bench was brought back before.
    line_off
        Whether making safe switches off at the line, so that a person has to switch on again.
    made_safe
        Whether somebody made the bench safe since, as the guardian does.
    gap_known
        Whether any clock tells how long the gap was; where none does, what was cut off starts over.
    """

    def __init__(
        self,
        steps: Sequence[Sequence[Step]],
        rules: Resume,
        *,
        last_time_s: float,
        last_request: int,
        restored: int = 0,
        line_off: bool = False,
        made_safe: bool = False,
        gap_known: bool = True,
    ) -> None:
        self._steps = [tuple(one) for one in steps]
        self._rules = rules
        self._last_time_s = last_time_s
        self._last_request = last_request
        self._restored = restored
        self._line_off = line_off
        self._made_safe = made_safe
        self.gap_known = gap_known
        self._typed: frozenset[str] = frozenset()
        self.gap_s = float("nan")
        self.now_s = last_time_s
        self.energised = False

    def look(self, bench: Bench, writer: RecordWriter) -> None:
        """See how long the gap was and whether the unit kept its energy; nothing is switched."""
        try:
            now = bench.clock.now()
            if now < self._last_time_s:  # a simulated bench that began anew
                now = bench.clock.sleep_until(self._last_time_s)
            self.now_s = now
            if self.gap_known:
                self.gap_s = now - self._last_time_s
            self.energised = self._still_energised(bench)
        except InstrumentError as error:
            raise BenchFailed(str(error)) from error
        kept = "kept its load and its setting" if self.energised else "was without energy or load"
        writer.event(
            now,
            RESUMED,
            "warning",
            f"The run goes on after {self._gap()} of bench time; the unit {kept}.",
            {"gap_s": self.gap_s, "energised": int(self.energised)},
        )

    def open(self, turns: Sequence[Turn]) -> tuple[Turn, ...]:
        """Return the turns from the first one on that the record does not hold as a whole."""
        self._typed = turns[0].context.bench.typed if turns else self._typed
        done = 0
        while done < len(turns) and self._complete(turns[done]):
            done += 1
        return tuple(turns[done:])

    def outlook(self, turns: Sequence[Turn]) -> Outlook:
        """Tell what will become of each trial; `look` has to come before."""
        kept = "kept its load" if self.energised else "was found without its load"
        lines = [f"The unit {kept} over {self._gap()}."]
        left_s, line_off = 0.0, self._line_off
        for turn in turns:
            name, settings, context = turn.trial.name, turn.settings, turn.context
            steps = self._steps_of(turn)
            if self._complete(turn):
                lines.append(f"{name}: complete in the record.")
                continue
            decided = self.decide(turn.trial, settings, context, steps) if steps else None
            if decided is None:
                lines.append(f"{name}: not begun yet.")
            else:
                lines.append(f"{name}: {WAYS[decided.way]}, as {decided.why}")
            if decided is not None and decided.way != "start over":
                warm = decided.way == "warm up again and go on"
                again = self._again(turn.trial, settings, context, steps) if warm else None
                left_s += takes_s(context, restoring(steps, again, line_off=line_off))
                line_off = False
            else:
                steps = ()
            left_s += rest_s(turn.trial, settings, context, steps)
        return Outlook(tuple(lines), left_s)

    def _complete(self, turn: Turn) -> bool:
        steps = self._steps_of(turn)
        return bool(steps) and not rest_of(turn.trial, turn.settings, turn.context, steps)

    def _steps_of(self, turn: Turn) -> tuple[Step, ...]:
        return self._steps[turn.number] if turn.number < len(self._steps) else ()

    def perform(self, turn: Turn, live: LiveBench, writer: RecordWriter) -> None:
        """Perform a trial: from the record as far as that goes, then on the bench."""
        number, trial, settings, context = turn.number, turn.trial, turn.settings, turn.context
        steps = self._steps_of(turn)
        complete = self._complete(turn)
        decided = self.decide(trial, settings, context, steps) if steps and not complete else None
        if decided is not None:
            writer.event(self._last_time_s, "resuming", "note", f"{trial.name}: {decided.why}")
            if decided.way == "start over":
                detail = {"trial": number, "after": self._last_request}
                writer.event(self._last_time_s, STARTED_OVER, "warning", decided.why, detail)
                steps = ()
            else:
                warm = decided.way == "warm up again and go on"
                again = self._again(trial, settings, context, steps) if warm else None
                self._restore(trial.name, steps, again, live, writer)
        elif self._line_off and not complete:
            self._restore(trial.name, (), None, live, writer)
        writer.begin_trial(number, trial.name, settings.model_dump_json())
        perform(trial.procedure(settings, context), Replay(steps, live, live.go_on))

    def decide(
        self, trial: Trial[Any], settings: BaseModel, context: Context, steps: Sequence[Step]
    ) -> Decision:
        """Decide by the declared rules what becomes of a trial that has begun."""
        if not any(measures(request) for request in rest_of(trial, settings, context, steps)):
            return Decision("go on", "all its readings are in the record; only its end is missing.")
        gap = self._gap()
        most_s = self._rules.gap_at_most
        if isnan(self.gap_s):
            return Decision(
                "start over",
                "how long the gap was is unknown, as the computer's clock was set back meanwhile.",
            )
        if not self.gap_s <= most_s:
            return Decision("start over", f"{gap} is longer than the {most_s:.0f} s allowed.")
        again = self._again(trial, settings, context, steps)
        if again is None:
            return Decision(
                "start over", "it compares readings that belong together, and was cut off in them."
            )
        if self.energised:
            return Decision("go on", f"the unit kept its load over {gap}.")
        warm_up_s = (again.count - 1) * again.period_s
        return Decision(
            "warm up again and go on",
            f"the unit lost its load over {gap} (allowed: {most_s:.0f} s); it is warmed up for "
            f"{warm_up_s:.0f} s again, then the readings go on.",
        )

    def _gap(self) -> str:
        return "a gap of unknown length" if isnan(self.gap_s) else f"a gap of {self.gap_s:.0f} s"

    def _again(
        self, trial: Trial[Any], settings: BaseModel, context: Context, steps: Sequence[Step]
    ) -> Read | None:
        last = steps[-1]
        if last.reply is not None or not isinstance(last.request, Read):
            return None
        again: Read | None = trial.again(settings, context, last.request)
        if again is None or self._rules.warm_up_again is None:
            return again
        return replace(again, count=round(self._rules.warm_up_again / again.period_s) + 1)

    def _restore(
        self,
        name: str,
        steps: Sequence[Step],
        again: Read | None,
        live: LiveBench,
        writer: RecordWriter,
    ) -> None:
        """Bring the bench back to the state in which the trial was interrupted, verified."""
        number = RESTORING + self._restored
        self._restored += 1
        writer.begin_trial(number, f"{name}: brought back", "{}")
        perform(restoring(steps, again, line_off=self._line_off), live)
        self._line_off = False

    def _still_energised(self, bench: Bench) -> bool:
        last = max((one[-1] for one in self._steps if one), key=lambda s: s.seq, default=None)
        if self._made_safe or last is None or last.reply is not None or not last.readings.value:
            return False
        values: Mapping[str, Any] = last.readings.value
        channels = tuple(c for c in values if c.startswith(("voltage.", "current.")))
        if self._typed.intersection(channels) or not any(
            c.startswith("current.") for c in channels
        ):
            return False  # nobody is asked to type what only decides about a warm-up
        for reading in bench.read(channels):
            before = float(np.asarray(values[reading.channel])[-1])
            if not abs(reading.value - before) <= SAME * abs(before) + LEAST_SAME:
                return False
            if abs(before) <= LEAST_SAME:
                return False
        return True
