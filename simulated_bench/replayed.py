r"""Instruments made of a message trace: they answer what was answered once, in the same order.

A trace is a text file whose first line is ``# steadyrail message trace 1``; every other line that
does not begin with ``#`` is an event, in columns apart by tabs: seconds, instrument, what happened
(``open``, ``>`` sent to it, ``<`` received from it, ``fail``, ``close``), and the bytes as text
with Python's backslash escapes. So what went wrong on a table is asked again, and becomes a test.
"""

import codecs
import socket
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from simulated_bench.errors import BenchError

HEAD: Final = "# steadyrail message trace 1"
COLUMNS: Final = 4
LONGEST: Final = 1 << 20
"""Bytes without a line's end after which a client is hung up on."""


@dataclass(frozen=True, slots=True)
class Exchange:
    """A message that an instrument was sent once, and all that it sent until the next one."""

    message: bytes
    answer: bytes
    hung_up: bool
    """The link failed with the other end gone: so will the replayed one."""


class TraceError(BenchError):
    """A trace that can't be read."""


def read_trace(path: Path) -> Mapping[str, Sequence[Exchange]]:
    """Return what each instrument of a trace was sent and answered, in order.

    Raises
    ------
    TraceError
        With the line that can't be read.
    """
    try:
        lines = path.read_text(encoding="ascii").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise TraceError(f"{path}: can't be read ({error})") from error
    if not lines or lines[0] != HEAD:
        raise TraceError(f"{path}: found no trace, expected {HEAD!r} as its first line")
    found: dict[str, list[Exchange]] = {}
    for number, line in enumerate(lines, start=1):
        if line.startswith("#"):
            continue
        columns = line.split("\t")
        if len(columns) != COLUMNS:
            raise TraceError(
                f"{path}, line {number}: found {len(columns)} columns, expected {COLUMNS}"
            )
        _, instrument, what, text = columns
        exchanges = found.setdefault(instrument, [])
        data = _unescaped(text, f"{path}, line {number}")
        if what == ">":
            exchanges.append(Exchange(data, b"", hung_up=False))
        elif exchanges and what == "<":
            last = exchanges[-1]
            exchanges[-1] = Exchange(last.message, last.answer + data, last.hung_up)
        elif exchanges and what == "fail" and data.startswith(b"Closed"):
            last = exchanges[-1]
            exchanges[-1] = Exchange(last.message, last.answer, hung_up=True)
    return found


def _unescaped(text: str, where: str) -> bytes:
    try:
        return codecs.decode(text, "unicode_escape").encode("latin-1")
    except (UnicodeDecodeError, UnicodeEncodeError) as error:
        raise TraceError(f"{where}: found {text!r}, expected escaped bytes ({error})") from error


class ReplayedInstrument:
    """Answers messages as the trace has them: each search begins behind the last one found.

    A message that comes no more in the rest of the trace is looked for from the beginning; one
    that the trace doesn't have at all gets no answer, as from an instrument that doesn't know it.
    """

    def __init__(self, exchanges: Sequence[Exchange]) -> None:
        self._exchanges = exchanges
        self._next = 0

    def answer(self, message: bytes) -> Exchange | None:
        """Return what follows a message, given with its line's end, or None."""
        wanted = message.rstrip(b"\r\n")
        count = len(self._exchanges)
        for step in range(count):
            index = (self._next + step) % count
            if self._exchanges[index].message.rstrip(b"\r\n") == wanted:
                self._next = index + 1
                return self._exchanges[index]
        return None

    def serve(self, listener: socket.socket) -> None:
        """Serve one client after the other until the listener is closed."""
        with suppress(OSError):
            while True:
                client, _ = listener.accept()
                client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                with client, suppress(OSError):
                    self._serve_one(client)

    def _serve_one(self, client: socket.socket) -> None:
        waiting = b""
        while len(waiting) < LONGEST and (data := client.recv(65536)):
            *lines, waiting = (waiting + data).split(b"\n")
            for line in lines:
                exchange = self.answer(line)
                if exchange is None:
                    continue
                if exchange.answer:
                    client.sendall(exchange.answer)
                if exchange.hung_up:
                    return


@contextmanager
def served(
    trace: Mapping[str, Sequence[Exchange]], host: str = "127.0.0.1", port: int = 0
) -> Iterator[dict[str, str]]:
    """Serve every instrument of a trace; yield the addresses by name.

    Raises
    ------
    OSError
        When a port is taken.
    """
    listeners: list[socket.socket] = []
    try:
        addresses: dict[str, str] = {}
        for number, (name, exchanges) in enumerate(trace.items()):
            listener = socket.create_server((host, port + number if port else 0))
            listeners.append(listener)
            addresses[name] = f"TCPIP0::{host}::{listener.getsockname()[1]}::SOCKET"
            instrument = ReplayedInstrument(exchanges)
            threading.Thread(target=instrument.serve, args=(listener,), daemon=True).start()
        yield addresses
    finally:
        for listener in listeners:
            with suppress(OSError):
                listener.shutdown(socket.SHUT_RDWR)
            listener.close()
