"""One open VISA link: raw bytes out, one terminated answer in, and nothing left over unseen.

This is the only module that touches pyvisa. On raw sockets it also looks at the socket below the
pyvisa-py session, because a closed peer otherwise looks like a time-out, and bytes that nobody
asked for become the answer to the next question. What it raises is whatever comes;
`drivers.session` translates.
"""

import select
import socket
import struct
import time
from contextlib import suppress
from functools import cache
from select import POLLIN, POLLOUT, poll
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # importing pyvisa takes longer than a whole `--help`
    from pyvisa import ResourceManager

CHUNK = 65536
"""Bytes asked for in one read: more than any answer of a meter, so that one call is enough."""

KEEPALIVE = {"TCP_KEEPIDLE": 10, "TCP_KEEPINTVL": 5, "TCP_KEEPCNT": 3}
"""Seconds, seconds, probes. A peer without power is noticed after 10 + 3 × 5 s; the system's own
preset takes hours."""


PEER_CLOSED = getattr(select, "POLLRDHUP", 0)
"""Linux tells in the poll that the peer has closed; elsewhere the read finds out."""


class Stale(Exception):
    """Bytes that nobody asked for wait on the link."""


class Closed(Exception):
    """The other end closed the connection."""


class Late(Exception):
    """Time is up; `partial` is what had come until then."""

    def __init__(self, partial: bytes) -> None:
        super().__init__("time is up")
        self.partial = partial


@cache
def resource_manager(backend: str) -> "ResourceManager":
    """Return the one resource manager of this process; pyvisa closes it when the process ends.

    Closing a second manager would close every session of the first, so there is never one.
    """
    from pyvisa import ResourceManager  # noqa: PLC0415

    return ResourceManager(backend)


class Link:
    """An open link to one address; for one owner, and never used again after an error.

    Parameters
    ----------
    address
        VISA resource name.
    terminator
        Last bytes of every answer.
    timeout_s
        Greatest time for opening and for a write.
    pause_s
        Least time between two messages, for instruments that lose what comes too soon.
    """

    def __init__(
        self,
        address: str,
        terminator: bytes,
        timeout_s: float,
        backend: str,
        pause_s: float = 0.0,
    ) -> None:
        from pyvisa import constants  # noqa: PLC0415

        self._timeout_s = timeout_s
        self._pause_s = pause_s
        self._not_before = 0.0
        self._library: Any = resource_manager(backend).visalib  # each back end has its own class
        manager = resource_manager(backend)
        # Zero would mean ten seconds, 100 ms or nothing, depending on the kind of link.
        self._handle, _ = manager.open_bare_resource(
            address, open_timeout=max(1, round(timeout_s * 1000))
        )
        try:
            attribute = constants.ResourceAttribute
            setting = {
                attribute.termchar: terminator[-1],
                attribute.termchar_enabled: True,
            }
            for name, value in setting.items():
                self._library.set_attribute(self._handle, name, value)
            self._ended = constants.StatusCode.success_termination_character_read
            self._more = constants.StatusCode.success_max_count_read
            self._end = constants.StatusCode.success
            self._session: Any = getattr(self._library, "sessions", {}).get(self._handle)
            interface = getattr(self._session, "interface", None)
            raw = isinstance(interface, socket.socket) and hasattr(self._session, "_pending_buffer")
            self._socket = interface if raw else None
            if self._socket is not None:
                # All waiting is ours: pyvisa-py waits by the wall clock, which may be set while
                # it waits, and can't see that a peer has closed.
                for name in (attribute.timeout_value, attribute.suppress_end_enabled):
                    self._library.set_attribute(self._handle, name, 0)
                self._prepare(self._socket)
        except BaseException:
            self.close()
            raise

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
        """Send a terminated message, after a look at what the link's state is.

        Raises
        ------
        Stale, Closed, Late
            When unasked bytes wait, the peer has closed, or it doesn't take the message in time.
        """
        if self._pause_s:
            poll().poll(max(0.0, self._not_before - time.monotonic()) * 1000)
            self._not_before = time.monotonic() + self._pause_s
        if self._socket is None:
            self._library.write(self._handle, message)
            return
        if self._session._pending_buffer:  # noqa: SLF001 - the second line of an answer hides there
            raise Stale(bytes(self._session._pending_buffer).decode("latin-1"))  # noqa: SLF001
        events = self._before_write.poll(0) or self._before_write.poll(self._timeout_s * 1000)
        if not events:
            raise Late(b"")
        if events[0][1] != POLLOUT:
            self._say_what_is_wrong(self._socket)
        sent, status = self._session.write(message)
        if sent != len(message) or status != self._end:
            raise OSError(f"only {sent} of {len(message)} bytes could be sent")

    def read(self, timeout_s: float) -> bytes:
        """Return one answer with its terminating character.

        Raises
        ------
        Late, Closed
            When no whole answer came in time, or the peer closed before its end.
        """
        if self._socket is None:
            return self._read_elsewhere(timeout_s)
        deadline = time.monotonic() + timeout_s
        # An echo and its answer may have come together; the answer then waits in the buffer.
        if not self._session._pending_buffer:  # noqa: SLF001
            events = self._before_read.poll(timeout_s * 1000)
            if not events:
                raise Late(b"")
            if events[0][1] != POLLIN:
                self._raise_if_closed(self._socket, b"")
        data, status = self._session.read(CHUNK)
        if status == self._ended:
            return bytes(data)
        parts = bytearray(data)
        while status != self._ended:
            if status != self._more:
                left_s = deadline - time.monotonic()
                if left_s <= 0 or not self._before_read.poll(left_s * 1000):
                    raise Late(bytes(parts))
                self._raise_if_closed(self._socket, bytes(parts))
            data, status = self._session.read(CHUNK)
            parts.extend(data)
        return bytes(parts)

    def _read_elsewhere(self, timeout_s: float) -> bytes:
        """Read from a link that is no raw socket, with the waiting left to the VISA library."""
        from pyvisa import constants  # noqa: PLC0415

        self._library.set_attribute(
            self._handle, constants.ResourceAttribute.timeout_value, round(timeout_s * 1000)
        )
        data, _ = self._library.read(self._handle, CHUNK)
        return bytes(data)

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

    def close(self) -> None:
        """Close; never raises, and leaves nothing behind in the library's tables."""
        with suppress(Exception):  # closing a dead link may fail in any way; it is dead
            self._library.close(self._handle)
        for table in ("sessions", "_last_status_in_session", "_ignore_warning_in_session"):
            entries = getattr(self._library, table, None)
            if isinstance(entries, dict):
                entries.pop(self._handle, None)
