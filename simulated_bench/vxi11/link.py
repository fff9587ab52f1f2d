"""One link: what is under way between one client and one instrument over VXI-11."""

from collections.abc import Callable
from time import monotonic
from typing import Final, NamedTuple

from simulated_bench.connection import LONGEST_LINE, MOST_UNSENT
from simulated_bench.dialogue import Dialogue, Later
from simulated_bench.instruments.table_top import Placed
from simulated_bench.scpi.errors import ScpiError
from simulated_bench.vxi11.numbers import (
    COUNT_REACHED,
    END_SEEN,
    TERMINATOR_SEEN,
    Problem,
)

LOOK_S: Final = 0.005
"""How often a read that waits looks whether its time is up."""

LINE_END: Final = b"\n"

Done = Callable[[Problem, int, bytes], None]
"""Takes how a read ended: error, reason, data."""


class Wanted(NamedTuple):
    """A read that waits for an answer."""

    most: int
    until: float
    terminator: bytes
    done: Done


class Link:
    """Messages in, answers out when they are read (`placed` is the instrument)."""

    def __init__(self, placed: Placed, later: Later, end: Callable[[], None]) -> None:
        self._placed = placed
        self._later = later
        self._end = end
        self._dialogue = Dialogue(placed, later, _nothing)
        self._started = bytearray()
        self._output = bytearray()
        self._overrun = False
        self._wanted: Wanted | None = None
        self._looking = False

    @property
    def waiting(self) -> bool:
        """Whether a read waits for an answer."""
        return self._wanted is not None

    def write(self, data: bytes, *, ends: bool) -> None:
        """Take in a message or a part of it.

        Raises
        ------
        ConnectionAbortedError
            When the link ends here.
        """
        if self._output:  # IEEE 488.2, 6.3.2.3
            self._output.clear()
            self._fault(-410, "a message came before the answer was fetched")
        self._started += data
        if len(self._started) > LONGEST_LINE:
            self._overrun = True
            self._started.clear()
        if not ends:
            return
        whole, overrun = bytes(self._started), self._overrun
        self._started.clear()
        self._overrun = False
        if overrun:
            self._fault(-363, f"a message of more than {LONGEST_LINE} bytes")
            return
        for line in whole.removesuffix(LINE_END).split(LINE_END):
            if self._dialogue.straight:
                self._put(self._placed.answer(line))
            else:
                self._put(self._dialogue.carry(line, self._deliver))

    def trigger(self) -> None:
        """Carry a trigger out; raises as `write`."""
        self.write(b"*TRG", ends=True)

    def read(self, most: int, patience_s: float, terminator: bytes, done: Done) -> None:
        """Call `done` with what is there up to an end, or once it has come, or time is up."""
        self._wanted = Wanted(most, monotonic() + patience_s, terminator, done)
        self._serve()
        if self._wanted is not None and not self._looking:
            self._look()

    def abort(self) -> None:
        """End a read that waits."""
        self._finish(Problem.ABORTED)

    def clear(self) -> None:
        """Throw away what is under way (device clear)."""
        self._dialogue.clear()
        self._started.clear()
        self._output.clear()
        self._overrun = False

    def forget(self) -> None:
        """Let nothing come any more; the link has ended."""
        self.clear()
        self._wanted = None

    def status_byte(self) -> int:
        """Return the status byte."""
        return self._placed.device.status.byte(message_available=bool(self._output))

    def remote(self, remote: bool) -> None:
        """Give control to the front panel or take it."""
        self._placed.device.remote(remote)

    def _deliver(self, answer: bytes) -> None:
        try:
            self._put(answer)
        except OSError:
            self._end()

    def _put(self, answer: bytes) -> None:
        self._output += answer
        if len(self._output) > MOST_UNSENT:
            self._fault(-430, "nobody fetches the answers")
            raise ConnectionAbortedError
        self._serve()

    def _serve(self) -> None:
        """Answer the read that waits, if there is enough for it: an answer ends with a line feed.

        Half an answer has no end, so that its read goes on waiting.
        """
        wanted = self._wanted
        if wanted is None:
            return
        reason, length = 0, min(wanted.most, len(self._output))
        if wanted.terminator:
            at = self._output.find(wanted.terminator, 0, length)
            if at >= 0:
                reason, length = TERMINATOR_SEEN, at + 1
        if length == len(self._output) and self._output.endswith(LINE_END):
            reason |= END_SEEN
        if length == wanted.most:
            reason |= COUNT_REACHED
        if reason:
            self._finish(Problem.NONE, reason, length)

    def _finish(self, problem: Problem, reason: int = 0, length: int = 0) -> None:
        wanted = self._wanted
        if wanted is not None:
            self._wanted = None
            data = bytes(self._output[:length])
            del self._output[:length]
            wanted.done(problem, reason, data)

    def _look(self) -> None:
        """Look again a little later while a read waits: one timer a link, whatever clients do."""
        self._looking = False
        if self._wanted is None:
            return
        left_s = self._wanted.until - monotonic()
        if left_s <= 0.0:
            self._finish(Problem.TIME_OUT)
            return
        self._looking = True
        self._later(monotonic() + min(left_s, LOOK_S), self._look)

    def _fault(self, code: int, text: str) -> None:
        self._placed.device.status.put(ScpiError(code, text))


def _nothing() -> None:
    """Each message asks anew whether the way is straight."""
