"""The time base: bench time passes when it is asked to."""

from typing import Final

from simulated_bench.instruments.timing import BenchTime
from simulated_bench.scpi.commands import Command
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.parameters import Number

LONGEST_STEP_S: Final = 86400.0
"""One command moves time by no more: it has to be worked out second by second."""

_SECONDS: Final = Number("S", words=False)


class Clock:
    """The bench's clock as an instrument."""

    def __init__(self, time: BenchTime) -> None:
        self._time = time

    def commands(self) -> tuple[Command, ...]:
        """Return the table; every command first lets all measurements end."""
        return (
            Command("CLOCk:TIME?", self._now),
            Command("CLOCk:UNTil?", self._until, (_SECONDS,)),
            Command("CLOCk:ADVance", self._advance, (_SECONDS,)),
        )

    def reset(self) -> None:
        """Do nothing: time can't be set back."""

    def _now(self) -> str:
        return f"{self._time.world.now:.9f}"

    def _until(self, at: float) -> str:
        if at > self._time.world.now + LONGEST_STEP_S:
            raise ScpiError(-222, f"more than {LONGEST_STEP_S:g} s ahead")
        if at > self._time.world.now:
            self._time.advance_to(at)
        return self._now()

    def _advance(self, step_s: float) -> None:
        if not 0.0 <= step_s <= LONGEST_STEP_S:
            raise ScpiError(-222, f"a step of {step_s:g} s")
        self._time.advance_to(self._time.world.now + step_s)
