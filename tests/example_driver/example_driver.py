"""A voltmeter that speaks binary frames: one byte asks, eight bytes answer.

In the bench document:

    [instruments.meter]
    role = "voltmeter"
    dialect = "frames.toml"                       # beside the bench document
    address = "PYTHON::frames::192.0.2.7:4000"

The frames: 0x01 asks who it is (answer: length, text), 0x02 a reading (answer: IEEE 754 double in
volts, big-endian), and a sum over all bytes modulo 256 at the end of each answer.
"""

import socket
import struct

QUESTIONS = {b"*IDN?": b"\x01", b"READ?": b"\x02"}


class Frames:
    """One connection to such a voltmeter."""

    def __init__(self, connection: socket.socket) -> None:
        self._connection = connection
        self._asked = b""

    def write(self, message: bytes) -> None:
        """Translate a message of the dialect into a byte."""
        self._asked = QUESTIONS[message.strip()]
        self._connection.sendall(self._asked)

    def read(self, timeout_s: float) -> bytes:
        """Translate the frame that answers into text with a line feed."""
        self._connection.settimeout(timeout_s)
        if self._asked == b"\x01":
            length = self._exactly(1)
            text = self._exactly(length[0])
            self._check(length + text)
            return text + b"\n"
        frame = self._exactly(8)
        self._check(frame)
        return b"%.9E\n" % struct.unpack(">d", frame)

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def _exactly(self, count: int) -> bytes:
        found = b""
        while len(found) < count:
            more = self._connection.recv(count - len(found))
            if not more:
                raise ConnectionError("the voltmeter closed the connection")
            found += more
        return found

    def _check(self, frame: bytes) -> None:
        if self._exactly(1)[0] != sum(frame) % 256:
            raise ValueError(f"the sum of the frame {frame!r} is wrong")


def open_frames(address: str, timeout_s: float) -> Frames:
    """Open a connection; `address` is host:port."""
    host, _, port = address.partition(":")
    return Frames(socket.create_connection((host, int(port)), timeout_s))
