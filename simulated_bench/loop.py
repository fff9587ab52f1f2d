"""One process, one thread, one loop over all connections; the system says which are ready."""

import select
import signal
import socket
from collections.abc import Callable
from heapq import heappop, heappush
from time import monotonic
from typing import Final, Protocol

from simulated_bench.connection import Connection

MOST_CONNECTIONS: Final = 300
"""Of all instruments together; far below the usual 1024 open files of a process."""

AT_ONCE: Final = 32
"""Ready sockets taken per round."""


class Owner(Protocol):
    """Who took a connection in: a listener or a serial port."""

    def left(self, connection: Connection) -> None:
        """Learn that it has ended."""


class Loop:
    """Waits for connections, timers and signals, and calls who handles them."""

    def __init__(self) -> None:
        self._poller = select.epoll()
        self._handlers: dict[int, Callable[[int], object]] = {}
        self._owner: dict[Connection, Owner] = {}
        self._timers: list[tuple[float, int, Callable[[], None]]] = []
        self._timed = 0
        self._running = True

    def run(self) -> None:
        """Serve until `stop`."""
        # One level below `selectors`, whose bookkeeping shows in the time of a query.
        poll, handlers, timers = self._poller.poll, self._handlers, self._timers
        while self._running:
            for descriptor, mask in poll(self._next_timer_s() if timers else None, AT_ONCE):
                handler = handlers.get(descriptor)
                if handler is not None:  # an earlier one of this round may have closed it
                    handler(mask)

    def stop(self) -> None:
        """End `run` after the present round."""
        self._running = False

    def stop_on_signals(self) -> None:
        """Let SIGTERM and SIGINT end `run`."""
        reading, writing = socket.socketpair()
        for end in (reading, writing):
            end.setblocking(False)
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, lambda _number, _frame: self.stop())
        signal.set_wakeup_fd(writing.fileno())
        self._wakers = (reading, writing)
        self.when_readable(reading.fileno(), lambda _mask: reading.recv(64))

    def when_readable(self, descriptor: int, then: Callable[[int], object]) -> None:
        """Call `then` whenever a file descriptor can be read or its other end is gone."""
        self._poller.register(descriptor, select.POLLIN)
        self._handlers[descriptor] = then

    def forget(self, descriptor: int) -> None:
        """No longer look at a file descriptor."""
        if self._handlers.pop(descriptor, None) is not None:
            self._poller.unregister(descriptor)

    def later(self, due: float, action: Callable[[], None]) -> None:
        """Carry an action out when the computer's monotonic clock reaches `due`."""
        self._timed += 1
        heappush(self._timers, (due, self._timed, action))

    def add(self, owner: Owner, connection: Connection) -> None:
        """Begin to serve a client."""
        self._owner[connection] = owner
        self.when_readable(connection.end.fileno(), connection.ready)

    def watch(self, connection: Connection, *, writing: bool) -> None:
        """Choose whether a client's end is also waited for to become writable."""
        events = select.POLLIN | (select.POLLOUT if writing else 0)
        if connection in self._owner:
            self._poller.modify(connection.end.fileno(), events)

    def drop(self, connection: Connection) -> None:
        """End a client's connection."""
        owner = self._owner.pop(connection, None)
        if owner is None:
            return
        self.forget(connection.end.fileno())
        connection.end.close()
        connection.gone()
        owner.left(connection)

    def serves(self, connection: Connection) -> bool:
        """Return whether a client is still connected."""
        return connection in self._owner

    def full(self) -> bool:
        """Return whether there are as many clients as can be."""
        return len(self._owner) >= MOST_CONNECTIONS

    def close(self) -> None:
        """End every connection."""
        for connection in list(self._owner):
            self.drop(connection)
        self._poller.close()

    def _next_timer_s(self) -> float | None:
        """Carry out what is due; return how long until the next, None when nothing is left."""
        while self._timers:
            left = self._timers[0][0] - monotonic()
            if left > 0.0:
                return left
            heappop(self._timers)[2]()
        return None
