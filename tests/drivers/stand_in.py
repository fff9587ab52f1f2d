"""A tiny SCPI instrument on a real socket that can misbehave on purpose; knows no product code."""

import contextlib
import socket
import threading
import time
from collections.abc import Callable
from typing import Self

Behaviour = Callable[["StandIn", socket.socket, str], None]


class StandIn:
    """Answers lines from a table of texts or functions; each line is logged as it comes in.

    `special` maps a line to a function that gets the connection and may do anything with it;
    each entry is used up by its first use, unless it is listed in `forever`.
    """

    def __init__(self, identity: str = "WORKSHOP,STAND-IN,SIM0001,1.0", port: int = 0) -> None:
        self.answers: dict[str, str | Callable[[], str]] = {"*IDN?": identity}
        self.special: dict[str, Behaviour] = {}
        self.forever: set[str] = set()
        self.log: list[str] = []
        self.settings: dict[str, Callable[[str], None]] = {}
        self.errors: list[str] = []
        self.connections = 0
        self.terminator = b"\n"
        self._open: list[socket.socket] = []
        self._listener = socket.create_server(("127.0.0.1", port))
        self.port = self._listener.getsockname()[1]
        self._threads: list[threading.Thread] = []
        self._start(self._accept)

    @property
    def address(self) -> str:
        return f"TCPIP0::127.0.0.1::{self.port}::SOCKET"

    def _start(self, target: Callable[..., None], *args: object) -> None:
        thread = threading.Thread(target=target, args=args, daemon=True)
        thread.start()
        self._threads.append(thread)

    def _accept(self) -> None:
        with contextlib.suppress(OSError):
            while True:
                connection, _ = self._listener.accept()
                connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self.connections += 1
                self._open.append(connection)
                self._start(self._serve, connection)

    def _serve(self, connection: socket.socket) -> None:
        with contextlib.suppress(OSError, ValueError), connection, connection.makefile("rb") as f:
            for line in f:
                self._handle(connection, line.decode("latin-1").rstrip("\r\n"))

    def _handle(self, connection: socket.socket, line: str) -> None:
        self.log.append(line)
        behaviour = self.special.get(line)
        if behaviour is not None:
            if line not in self.forever:
                del self.special[line]
            behaviour(self, connection, line)
            return
        parts = [self.answer(part.removeprefix(":")) for part in line.split(";")]
        said = [part for part in parts if part is not None]
        if said:
            connection.sendall(";".join(said).encode("latin-1") + self.terminator)

    def answer(self, part: str) -> str | None:
        if part == "SYSTem:ERRor?":
            return self.errors.pop(0) if self.errors else '0,"No error"'
        if part in self.answers:
            found = self.answers[part]
            return found if isinstance(found, str) else found()
        head, _, value = part.partition(" ")
        if head in self.settings:
            self.settings[head](value)
            return None
        self.errors.append('-113,"Undefined header"')
        return None

    def hang_up(self) -> None:
        """Close every connection that is open now, as an instrument that restarts does.

        A client may be back before the last one is closed: its new connection is left alone.
        """
        closing, self._open = self._open, []
        for connection in closing:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
            connection.close()

    def close(self) -> None:
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self.hang_up()
        for thread in self._threads:
            thread.join(timeout=5)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def late(delay_s: float, answer: bytes) -> Behaviour:
    """Answer, but only after a while."""

    def behave(_: StandIn, connection: socket.socket, __: str) -> None:
        time.sleep(delay_s)
        connection.sendall(answer)

    return behave


def cut(first: bytes, delay_s: float, rest: bytes) -> Behaviour:
    """Send a part of the answer now and the rest later."""

    def behave(_: StandIn, connection: socket.socket, __: str) -> None:
        connection.sendall(first)
        time.sleep(delay_s)
        connection.sendall(rest)

    return behave


def send(answer: bytes) -> Behaviour:
    """Send exactly these bytes."""

    def behave(_: StandIn, connection: socket.socket, __: str) -> None:
        connection.sendall(answer)

    return behave


def hang_up(server: StandIn, _: socket.socket, __: str) -> None:
    """Close the connection in place of an answer."""
    server.hang_up()


def silent(_: StandIn, __: socket.socket, ___: str) -> None:
    """Say nothing."""
