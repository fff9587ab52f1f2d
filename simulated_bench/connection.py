"""One client of one instrument: bytes to messages, answers to bytes.

Messages and answers end with LF (a CR before it is white space to the parser). A line that is too
long is an error and its connection is closed; so is one whose answers nobody fetches.
"""

import select
from collections import deque
from collections.abc import Callable
from functools import partial
from time import monotonic
from typing import Final, Protocol

from simulated_bench.instruments.table_top import Placed
from simulated_bench.scpi.errors import ScpiError

LONGEST_LINE: Final = 64 * 1024
MOST_UNSENT: Final = 1024 * 1024
"""Answers kept for a client that does not fetch them; beyond, −430 and the connection ends."""

CHUNK: Final = 16 * 1024


class End(Protocol):
    """Our end of a socket or a serial line, never blocking."""

    def fileno(self) -> int:
        """Return its descriptor."""

    def recv(self, most: int, /) -> bytes:
        """Return what has come; nothing when the other end has closed."""

    def send(self, data: bytes | bytearray, /) -> int:
        """Hand bytes over and return how many were taken."""

    def close(self) -> None:
        """Close it."""


class Loop(Protocol):
    """What a connection needs of the loop that serves it."""

    def serves(self, connection: "Connection") -> bool:
        """Return whether a client is still connected."""

    def watch(self, connection: "Connection", *, writing: bool) -> None:
        """Choose whether a client's end is also waited for to become writable."""

    def drop(self, connection: "Connection") -> None:
        """End a client's connection."""

    def later(self, due: float, action: Callable[[], None]) -> None:
        """Carry an action out when the computer's monotonic clock reaches `due`."""


class _Held:
    """An answer that is not sent yet; `own` when the instrument itself takes so long."""

    def __init__(self, answer: bytes, *, own: bool) -> None:
        self.answer, self.own = answer, own


class Connection:
    """One client of one instrument."""

    def __init__(self, end: End, placed: Placed, loop: Loop) -> None:
        self.end = end
        self._placed = placed
        self._status = placed.device.status
        self._loop = loop
        self._started = bytearray()
        self._unsent = bytearray()
        self._held: deque[_Held] = deque()
        self._held_until = 0.0
        self._first_answer_s = placed.first_answer_s
        # Looked up once: these are all that a usual query needs.
        self._receive, self._answer, self._reply = end.recv, placed.answer, end.send
        self.route()

    def ready(self, mask: int) -> None:
        """Read what came, answer whole messages, send what is left."""
        try:
            if mask & select.POLLOUT:
                self._flush()
                if mask == select.POLLOUT:
                    return
            data = self._receive(CHUNK)
            if not self._started and data.find(b"\n") == len(data) - 1 and data:
                answer = self._answer(data[:-1])  # one whole message: the usual case
                if answer:
                    self._send(answer)
            else:
                self._take(data)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            self._loop.drop(self)

    def route(self) -> None:
        """Let messages go straight to the instrument unless something is in the way."""
        disturbed = self._placed.link.disturbed or self._held or self._first_answer_s
        self._answer = self._carry if disturbed else self._placed.answer

    def _take(self, data: bytes) -> None:
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
            self._send(answers)
        if len(rest) > LONGEST_LINE or len(whole) < len(lines):
            self._status.put(ScpiError(-363, f"a line of more than {LONGEST_LINE} bytes"))
            self._loop.drop(self)

    def _carry(self, message: bytes) -> bytes:
        """Take a message to an instrument that is slow or whose link is disturbed.

        Raises
        ------
        ConnectionAbortedError
            When the link ends here.
        """
        if self._held and self._held[0].own and message.strip():
            self._held.popleft()  # IEEE 488.2, 6.3.2.3: its answer is thrown away
            self._status.put(ScpiError(-410, "a message came before the answer was ready"))
        delivery = self._placed.link.carry(message)
        if delivery.closes:
            raise ConnectionAbortedError
        now = delivery.now
        if now and self._first_answer_s:
            self._hold(now, self._first_answer_s, own=True)
            self._first_answer_s, now = 0.0, b""
        elif now and self._held:  # answers keep their order
            self._hold(now, 0.0)
            now = b""
        if delivery.later:
            self._hold(delivery.later, delivery.delay_s)
        return now

    def _hold(self, answer: bytes, delay_s: float, *, own: bool = False) -> None:
        held = _Held(answer, own=own)
        self._held.append(held)
        self._held_until = max(self._held_until, monotonic() + delay_s)
        self._loop.later(self._held_until, partial(self._release, held))
        self.route()

    def _release(self, held: _Held) -> None:
        if held in self._held and self._loop.serves(self):
            self._held.remove(held)
            self.route()
            try:
                self._send(held.answer)
            except OSError:
                self._loop.drop(self)

    def _send(self, answer: bytes) -> None:
        if self._unsent:
            self._unsent += answer
        else:
            try:
                sent = self._reply(answer)
            except BlockingIOError:
                sent = 0
            if sent == len(answer):
                return
            self._unsent += answer[sent:]
            self._loop.watch(self, writing=True)
        if len(self._unsent) > MOST_UNSENT:
            self._status.put(ScpiError(-430, "nobody fetches the answers"))
            self._loop.drop(self)

    def _flush(self) -> None:
        if self._unsent:
            sent = self.end.send(self._unsent)
            del self._unsent[:sent]
        if not self._unsent:
            self._loop.watch(self, writing=False)
