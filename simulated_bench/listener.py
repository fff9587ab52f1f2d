"""One instrument's listening socket: takes clients, and follows what becomes of the link."""

import socket
from typing import Protocol

from simulated_bench.connection import Connection, Loop
from simulated_bench.instruments.table_top import Placed


class Door(Loop, Protocol):
    """What a listener needs of the loop that serves it."""

    def add(self, owner: "Listener", connection: Connection) -> None:
        """Begin to serve a client."""

    def full(self) -> bool:
        """Return whether there are as many clients as can be."""

    def listen(self, listener: "Listener") -> None:
        """Begin to take an instrument's clients."""

    def refuse(self, listener: "Listener") -> None:
        """Refuse an instrument's clients from now on."""


class Listener:
    """One instrument's listening socket."""

    def __init__(self, sock: socket.socket, placed: Placed, loop: Door) -> None:
        self.sock = sock
        self._placed = placed
        self._loop = loop
        self._clients: set[Connection] = set()
        self._answered_by = placed.link.answered_by
        self._refusing = False

    def follow_link(self) -> None:
        """Do what the link's faults ask for, now and whenever they change."""
        self._placed.link.when_changed(self._changed)
        self._changed()

    def ready(self, _mask: int) -> None:
        """Take a client in, or close the connection when there are too many."""
        try:
            sock, _ = self.sock.accept()
        except OSError:
            return
        if len(self._clients) >= self._placed.clients or self._loop.full():
            sock.close()
            return
        sock.setblocking(False)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        connection = Connection(sock, self._placed, self._loop)
        self._clients.add(connection)
        self._loop.add(self, connection)

    def left(self, connection: Connection) -> None:
        """Make room for another client."""
        self._clients.discard(connection)

    def _changed(self) -> None:
        link = self._placed.link
        if link.refuses != self._refusing:
            self._refusing = link.refuses
            (self._loop.refuse if self._refusing else self._loop.listen)(self)
        gone = self._refusing or link.answered_by != self._answered_by
        self._answered_by = link.answered_by
        for client in list(self._clients):
            if gone:
                self._loop.drop(client)
            else:
                client.route()


def bound(address: tuple[str, int]) -> socket.socket:
    """Return a socket that has a port and does not listen yet.

    Raises
    ------
    OSError
        When the port can't be had.
    """
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind(address)
    except OSError:
        sock.close()
        raise
    sock.setblocking(False)
    return sock
