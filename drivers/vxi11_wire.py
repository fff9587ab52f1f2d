"""A VXI-11 link of pyvisa-py: the library does the waiting, but not for a peer that has gone.

pyvisa-py 0.8.1 takes the end of a connection for "nothing yet": it asks again at full CPU for the
whole time-out and a second, and then takes leave of the dead link for five seconds more. Here the
end of a connection is an error at once, and a link that failed is left without a farewell.
"""

import socket
from typing import Any

from pyvisa.errors import VisaIOError

from drivers.faults import VISA_TIME_OUT
from drivers.visa_wire import VisaWire


class EndingSocket:
    """The library's socket; the end of its connection, and leaving it, are errors."""

    def __init__(self, sock: socket.socket) -> None:
        self._sock = sock
        self.left = False

    def recv(self, most: int) -> bytes:
        """Return what has come.

        Raises
        ------
        ConnectionResetError
            When the other end has closed.
        """
        data = self._sock.recv(most)
        if not data:
            raise ConnectionResetError("the instrument closed the connection")
        return data

    def sendall(self, data: bytes) -> None:
        """Send; raises ConnectionAbortedError once the link was left."""
        if self.left:
            raise ConnectionAbortedError("the link has failed before")
        self._sock.sendall(data)

    def __getattr__(self, name: str) -> Any:
        """Return anything else of the socket, whatever its type."""
        return getattr(self._sock, name)


def is_vxi11(session: Any) -> bool:
    """Return whether a library's session is pyvisa-py's over VXI-11, whose socket is known."""
    interface = getattr(session, "interface", None)
    return hasattr(session, "link") and isinstance(getattr(interface, "sock", None), socket.socket)


class Vxi11Wire(VisaWire):
    """One link."""

    def __init__(self, library: Any, handle: Any, session: Any) -> None:
        self._sock = EndingSocket(session.interface.sock)
        session.interface.sock = self._sock
        super().__init__(library, handle)

    def write(self, message: bytes) -> None:
        """Send a message."""
        try:
            super().write(message)
        except Exception as error:
            self._fail(error)
            raise

    def read(self, timeout_s: float) -> bytes:
        """Return one answer, however long it is."""
        try:
            return super().read(timeout_s)
        except Exception as error:
            self._fail(error)
            raise

    def _fail(self, error: Exception) -> None:
        """Leave the link, unless the instrument itself said that time is up: then it is alive."""
        if not (isinstance(error, VisaIOError) and error.error_code == VISA_TIME_OUT):
            self._sock.left = True
