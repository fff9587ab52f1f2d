"""One client over a raw socket or a serial line: messages and answers end with LF.

A CR before the LF is white space to the parser. A line that is too long is an error and its
connection is closed; so is one whose answers nobody fetches.
"""

from select import POLLIN

from simulated_bench.connection import CHUNK, LONGEST_LINE, Connection, End, Serving
from simulated_bench.dialogue import Dialogue
from simulated_bench.instruments.table_top import Placed
from simulated_bench.scpi.errors import ScpiError


class LineClient(Connection):
    """One client of one instrument."""

    def __init__(self, end: End, placed: Placed, loop: Serving) -> None:
        super().__init__(end, placed.device.status, loop)
        self._placed = placed
        self._started = bytearray()
        self._dialogue = Dialogue(placed, loop.later, self.route)
        self._answer = placed.answer
        self.route()

    def ready(self, mask: int) -> None:
        """Answer one whole message, the usual case, by the shortest way; else as it comes."""
        if mask != POLLIN or self._started:
            super().ready(mask)
            return
        try:
            data = self._receive(CHUNK)
            if data.find(b"\n") == len(data) - 1 and data:
                answer = self._answer(data[:-1])
                if answer:
                    self.send(answer)
            else:
                self.take(data)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            self._loop.drop(self)

    def route(self) -> None:
        """Let messages go straight to the instrument unless something is in the way."""
        self._answer = self._placed.answer if self._dialogue.straight else self._carry

    def gone(self) -> None:
        """Let no answer come any more."""
        self._dialogue.clear()

    def take(self, data: bytes) -> None:
        """Take in the end of the connection, a part of a message, or several messages."""
        if not data:
            if self._started:  # it listens for the answer to a question it has not finished
                self._status.put(ScpiError(-420, "the connection ended within a message"))
            self._loop.drop(self)
            return
        self._started += data
        *lines, rest = bytes(self._started).split(b"\n")
        self._started = bytearray(rest)
        whole = [line for line in lines if len(line) <= LONGEST_LINE]
        answers = b"".join([self._answer(line) for line in whole])
        if answers:
            self.send(answers)
        if len(rest) > LONGEST_LINE or len(whole) < len(lines):
            self._status.put(ScpiError(-363, f"a line of more than {LONGEST_LINE} bytes"))
            self._loop.drop(self)

    def _carry(self, message: bytes) -> bytes:
        return self._dialogue.carry(message, self._deliver)

    def _deliver(self, answer: bytes) -> None:
        try:
            self.send(answer)
        except OSError:
            self._loop.drop(self)
