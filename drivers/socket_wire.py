"""A raw socket below a pyvisa-py session, looked at before each use.

A closed peer otherwise looks like a time-out, and bytes that nobody asked for become the answer to
the next question. All waiting is ours: pyvisa-py waits by the wall clock, which may be set while it
waits.
"""

import select
import socket
import struct
import time
from select import POLLIN, POLLOUT, poll
from typing import Any

from pyvisa.constants import StatusCode

from drivers.broken import Closed, Late, Stale

CHUNK = 65536
"""Bytes asked for in one read: more than any answer of a meter, so that one call is enough."""

KEEPALIVE = {"TCP_KEEPIDLE": 10, "TCP_KEEPINTVL": 5, "TCP_KEEPCNT": 3}
"""Seconds, seconds, probes. A peer without power is noticed after 10 + 3 × 5 s; the system's own
preset takes hours."""

PEER_CLOSED = getattr(select, "POLLRDHUP", 0)
"""Linux tells in the poll that the peer has closed; elsewhere the read finds out."""


def is_raw_socket(session: Any) -> bool:
    """Tell whether a pyvisa-py session is one of a raw socket that this module knows."""
    return isinstance(getattr(session, "interface", None), socket.socket) and hasattr(
        session, "_pending_buffer"
    )


class SocketWire:
    """One connection; see `drivers.link.Link` for what its methods raise.

    Raises
    ------
    OSError
        When the connection was refused, which opening it does not tell.
    """

    def __init__(self, session: Any, timeout_s: float) -> None:
        self._session = session
        self._timeout_s = timeout_s
        self._ended = StatusCode.success_termination_character_read
        self._more = StatusCode.success_max_count_read
        self._end = StatusCode.success
        self.socket: socket.socket = session.interface
        self._prepare(self.socket)

    def _prepare(self, connection: socket.socket) -> None:
        """Find a refused connection now, and set what VISA attributes can't."""
        refused = connection.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if refused:
            raise OSError(refused, "connection refused or failed")
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for name, value in KEEPALIVE.items():
            if hasattr(socket, name):  # not every system has all of them
                connection.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
        seconds = int(self._timeout_s)
        limit = struct.pack("@ll", seconds, int((self._timeout_s - seconds) * 1e6))
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDTIMEO, limit)
        self._before_write = poll()
        self._before_write.register(connection, POLLIN | POLLOUT | PEER_CLOSED)
        self._before_read = poll()
        self._before_read.register(connection, POLLIN | PEER_CLOSED)

    def write(self, message: bytes) -> None:
        """Send a message after a look at the connection's state."""
        if self._session._pending_buffer:  # noqa: SLF001 - the second line of an answer hides there
            raise Stale(bytes(self._session._pending_buffer).decode("latin-1"))  # noqa: SLF001
        events = self._before_write.poll(0) or self._before_write.poll(self._timeout_s * 1000)
        if not events:
            raise Late(b"")
        if events[0][1] != POLLOUT:
            self._say_what_is_wrong(self.socket)
        sent, status = self._session.write(message)
        if sent != len(message) or status != self._end:
            raise OSError(f"only {sent} of {len(message)} bytes could be sent")

    def read(self, timeout_s: float) -> bytes:
        """Return one answer with its terminating character."""
        deadline = time.monotonic() + timeout_s
        # An echo and its answer may have come together; the answer then waits in the buffer.
        if not self._session._pending_buffer:  # noqa: SLF001
            events = self._before_read.poll(timeout_s * 1000)
            if not events:
                raise Late(b"")
            if events[0][1] != POLLIN:
                self._raise_if_closed(self.socket, b"")
        data, status = self._session.read(CHUNK)
        if status == self._ended:
            return bytes(data)
        parts = bytearray(data)
        while status != self._ended:
            if status != self._more:
                left_s = deadline - time.monotonic()
                if left_s <= 0 or not self._before_read.poll(left_s * 1000):
                    raise Late(bytes(parts))
                self._raise_if_closed(self.socket, bytes(parts))
            data, status = self._session.read(CHUNK)
            parts.extend(data)
        return bytes(parts)

    def _raise_if_closed(self, connection: socket.socket, partial: bytes) -> None:
        try:
            waiting = connection.recv(1, socket.MSG_PEEK | socket.MSG_DONTWAIT)
        except BlockingIOError:
            return
        if not waiting:
            raise Closed(partial.decode("latin-1"))

    def _say_what_is_wrong(self, connection: socket.socket) -> None:
        error = connection.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR)
        if error:
            raise OSError(error, "the connection broke")
        waiting = connection.recv(4096, socket.MSG_PEEK | socket.MSG_DONTWAIT)
        if waiting:
            raise Stale(waiting.decode("latin-1"))
        raise Closed("")
