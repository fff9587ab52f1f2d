"""One instrument's listening socket: takes clients, and follows what becomes of the link."""

import socket
from typing import Final

from simulated_bench.connection import Connection
from simulated_bench.instruments.table_top import Placed
from simulated_bench.line_client import LineClient
from simulated_bench.loop import Loop
from simulated_bench.seats import Seats, Spare

BACKLOG: Final = 64

OPTIONS: Final = {"TCP_NODELAY": 1, "TCP_KEEPIDLE": 60, "TCP_KEEPINTVL": 10, "TCP_KEEPCNT": 3}
"""Linux hands them on to the clients' sockets. A client whose computer has gone keeps its seat for
60 + 3 × 10 seconds, not for ever."""


class Listener:
    """One instrument's listening socket.

    Parameters
    ----------
    address
        Host and port; port 0 takes a free one.

    Raises
    ------
    OSError
        When the port can't be had.
    """

    def __init__(
        self, address: tuple[str, int], placed: Placed, seats: Seats, loop: Loop, spare: "Spare"
    ) -> None:
        self._placed, self._seats, self._loop, self._spare = placed, seats, loop, spare
        self._clients: set[Connection] = set()
        self._answered_by = placed.link.answered_by
        self._refusing = False
        self._sock = _bound(address)
        self._listen()

    @property
    def at(self) -> tuple[str, int]:
        """Host and port."""
        host, port = self._sock.getsockname()[:2]
        return str(host), int(port)

    def follow_link(self) -> None:
        """Do what the link's faults ask for, now and whenever they change."""
        self._placed.link.when_changed(self._changed)
        self._changed()

    def left(self, connection: Connection) -> None:
        """Make room for another client."""
        self._clients.discard(connection)
        self._seats.give_back()

    def close(self) -> None:
        """Take no more clients."""
        self._loop.forget(self._sock.fileno())
        self._sock.close()

    def _welcome(self, sock: socket.socket) -> Connection | None:
        """Return the connection of a new client, None when there is no seat for it."""
        return LineClient(sock, self._placed, self._loop) if self._seats.take() else None

    def _ready(self, _mask: int) -> None:
        """Take a client in, or close the connection when there are too many."""
        sock = self._spare.accept(self._sock)
        if sock is None:
            return
        sock.setblocking(False)
        connection = None if self._loop.full() else self._welcome(sock)
        if connection is None:
            sock.close()
            return
        self._clients.add(connection)
        self._loop.add(self, connection)

    def _listen(self) -> None:
        self._sock.listen(BACKLOG)
        self._loop.when_readable(self._sock.fileno(), self._ready)

    def _refuse(self) -> None:
        """Refuse clients from now on, but keep the port: bound and not listening it refuses."""
        address = self.at
        self.close()
        self._sock = _bound(address)

    def _changed(self) -> None:
        link = self._placed.link
        if link.refuses != self._refusing:
            self._refusing = link.refuses
            (self._refuse if self._refusing else self._listen)()
        gone = self._refusing or link.answered_by != self._answered_by
        self._answered_by = link.answered_by
        for client in list(self._clients):
            if gone:
                self._loop.drop(client)
            else:
                client.route()


def _bound(address: tuple[str, int]) -> socket.socket:
    """Return a socket that has a port and does not listen yet.

    Raises
    ------
    OSError
        When the port can't be had.
    """
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        for name, value in OPTIONS.items():
            sock.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        sock.bind(address)
    except OSError:
        sock.close()
        raise
    sock.setblocking(False)
    return sock
