"""An instrument at the end of a serial line: a pseudo-terminal whose far end clients open.

The far end is also kept open here, so that a client that closes it leaves no dead line behind.
Baud rate and parity mean nothing on a pseudo-terminal.
"""

import os
import termios
import tty

from simulated_bench.connection import Connection
from simulated_bench.instruments.table_top import Placed
from simulated_bench.line_client import LineClient
from simulated_bench.loop import Loop


class SerialEnd:
    """The instrument's end of the line; implements `simulated_bench.connection.End`."""

    def __init__(self) -> None:
        self._near, self._far = os.openpty()
        tty.setraw(self._far)
        os.set_blocking(self._near, False)
        self.path = os.ttyname(self._far)

    def fileno(self) -> int:
        """Return the near end's descriptor."""
        return self._near

    def recv(self, most: int, /) -> bytes:
        """Return what the client wrote."""
        return os.read(self._near, most)

    def send(self, data: bytes | bytearray, /) -> int:
        """Write to the client and return how many bytes were taken."""
        return os.write(self._near, data)

    def close(self) -> None:
        """Throw away answers that nobody fetched; a line has no connection that could be closed.

        What the client has written stays: it may be the start of its next message.
        """
        termios.tcflush(self._far, termios.TCIFLUSH)

    def unplug(self) -> None:
        """Close both ends for good."""
        os.close(self._near)
        os.close(self._far)


class SerialPort:
    """One instrument's serial port: a line that always has one client."""

    def __init__(self, placed: Placed, loop: Loop) -> None:
        self.end = SerialEnd()
        self._placed = placed
        self._loop = loop
        self.plugged = True
        self._begin()
        placed.link.when_changed(self._changed)

    @property
    def address(self) -> str:
        """The VISA resource name."""
        return f"ASRL{self.end.path}::INSTR"

    def left(self, _connection: Connection) -> None:
        """Begin anew on the same line, with nothing pending."""
        if self.plugged:
            self._begin()

    def _begin(self) -> None:
        self._client = LineClient(self.end, self._placed, self._loop)
        self._loop.add(self, self._client)

    def _changed(self) -> None:
        self._client.route()
