"""A serial port below a pyvisa-py session: nothing left over, no half answer lost, no wall clock.

pyvisa-py reads a port byte by byte against the wall clock and drops what came before a time-out;
here the port itself is waited for and read.
"""

import time
from select import POLLIN, poll
from typing import Any

from drivers.broken import Closed, Late, Stale

QUIET_S = 0.05
"""A port that has been silent so long holds no rest of an earlier answer: some fifty characters'
time at 9600 baud."""
LONGEST_S = 2.0
"""A port that has not fallen silent by then never does."""


def is_serial(session: Any) -> bool:
    """Tell whether a pyvisa-py session is one of a serial port that this module knows."""
    interface = getattr(session, "interface", None)
    return all(hasattr(interface, name) for name in ("in_waiting", "fileno", "write_timeout"))


class SerialWire:
    """One port; see `drivers.link.Link` for what its methods raise.

    What waits there when it is opened is thrown away: the answer to a question of an earlier owner.
    """

    def __init__(self, session: Any, terminator: bytes, timeout_s: float) -> None:
        self._port = session.interface
        self._port.timeout = 0
        self._port.write_timeout = timeout_s
        self._last = terminator[-1:]
        self._waiting = poll()
        self._waiting.register(self._port, POLLIN)
        self._rest = b""
        deadline = time.monotonic() + LONGEST_S
        while self._arrived(QUIET_S):
            if time.monotonic() > deadline:
                raise Stale("the port never falls silent")

    def write(self, message: bytes) -> None:
        """Send a message, if nothing waits that nobody asked for."""
        if left := self._rest + self._arrived(0):
            raise Stale(left.decode("latin-1"))
        sent = self._port.write(message)
        if sent != len(message):
            raise OSError(f"only {sent} of {len(message)} bytes could be sent")

    def read(self, timeout_s: float) -> bytes:
        """Return one answer with its terminating character."""
        deadline = time.monotonic() + timeout_s
        parts, self._rest = self._rest, b""
        while self._last not in parts:
            arrived = self._arrived(max(0.0, deadline - time.monotonic()))
            if not arrived:
                raise Late(parts)
            parts += arrived
        answer, end, self._rest = parts.partition(self._last)
        return answer + end

    def _arrived(self, within_s: float) -> bytes:
        """Return what arrives within a time, empty if nothing does."""
        events = self._waiting.poll(within_s * 1000)
        if not events:
            return b""
        if not events[0][1] & POLLIN:
            raise Closed("")
        return bytes(self._port.read(65536))
