"""Bytes of one client: in by chunks, out at once or when there is room, never without bound."""

import select
from collections.abc import Callable
from typing import Final, Protocol

from simulated_bench.scpi.errors import ScpiError
from simulated_bench.scpi.status import Status

LONGEST_LINE: Final = 64 * 1024
"""Of one message; a longer one is −363."""

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


class Serving(Protocol):
    """What a connection needs of the loop that serves it."""

    def serves(self, connection: "Connection") -> bool:
        """Return whether a client is still connected."""

    def watch(self, connection: "Connection", *, writing: bool) -> None:
        """Choose whether a client's end is also waited for to become writable."""

    def drop(self, connection: "Connection") -> None:
        """End a client's connection."""

    def later(self, due: float, action: Callable[[], None]) -> None:
        """Carry an action out when the computer's monotonic clock reaches `due`."""


class Connection:
    """One client's bytes; what they mean is a subclass's business (`take`)."""

    def __init__(self, end: End, status: Status, loop: Serving) -> None:
        self.end = end
        self._status = status
        self._loop = loop
        self._unsent = bytearray()
        self._receive, self._write = end.recv, end.send  # looked up once: a query needs them

    def take(self, data: bytes) -> None:
        """Take in what has come; nothing means that the client has closed its end."""
        raise NotImplementedError

    def route(self) -> None:
        """Look again at whether anything is in the way of this client's messages."""

    def gone(self) -> None:
        """Let go of everything that was meant for this client; its connection has ended."""

    def ready(self, mask: int) -> None:
        """Send what is left, read what came."""
        try:
            if mask & select.POLLOUT:
                self.flush()
                if mask == select.POLLOUT:
                    return
            self.take(self._receive(CHUNK))
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            self._loop.drop(self)

    def send(self, data: bytes) -> None:
        """Hand bytes to the client, or keep them until it takes them.

        Raises
        ------
        OSError
            When the connection is broken.
        """
        if self._unsent:
            self._unsent += data
        else:
            try:
                sent = self._write(data)
            except BlockingIOError:
                sent = 0
            if sent == len(data):
                return
            self._unsent += data[sent:]
            self._loop.watch(self, writing=True)
        if len(self._unsent) > MOST_UNSENT:
            self._status.put(ScpiError(-430, "nobody fetches the answers"))
            self._loop.drop(self)

    def flush(self) -> None:
        """Send what the client has not taken yet."""
        if self._unsent:
            sent = self._write(self._unsent)
            del self._unsent[:sent]
        if not self._unsent:
            self._loop.watch(self, writing=False)
