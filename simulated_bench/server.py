"""Serves instruments on loopback: one process, one thread, one loop over all connections."""

import select
import signal
import socket
from collections.abc import Callable, Iterable, Mapping
from heapq import heappop, heappush
from time import monotonic
from typing import Final

from simulated_bench.connection import Connection
from simulated_bench.instruments.table_top import Placed
from simulated_bench.listener import Listener, bound
from simulated_bench.serial_port import SerialPort

MOST_CONNECTIONS: Final = 200
"""Of all instruments together; far below the usual 1024 open files of a process."""

BACKLOG: Final = 64
AT_ONCE: Final = 32
"""Ready sockets taken per round."""


class Server:
    """All connections of one bench.

    Parameters
    ----------
    port
        Of the first instrument, the others follow; 0 takes free ones.
    serial
        Instruments that have a serial port as well.

    Raises
    ------
    OSError
        When a port can't be had.
    """

    def __init__(
        self,
        instruments: Mapping[str, Placed],
        host: str,
        port: int,
        serial: Iterable[str] = (),
    ) -> None:
        self._poller = select.epoll()
        self._handlers: dict[int, Callable[[int], object]] = {}
        self._listeners: dict[str, Listener] = {}
        self._serial: dict[str, SerialPort] = {}
        self._owner: dict[Connection, Listener | SerialPort] = {}
        self._timers: list[tuple[float, int, Callable[[], None]]] = []
        self._timed = 0
        self._running = True
        try:
            for offset, (name, placed) in enumerate(instruments.items()):
                sock = bound((host, port + offset if port else 0))
                listener = self._listeners[name] = Listener(sock, placed, self)
                self.listen(listener)
                listener.follow_link()
            for name in serial:
                line = self._serial[name] = SerialPort(instruments[name], self)
                self.add(line, line.client)
                line.follow_link()
        except OSError:
            self.close()
            raise

    def addresses(self) -> dict[str, str]:
        """Return each instrument's VISA resource name over TCP."""
        return {
            name: "TCPIP0::{}::{}::SOCKET".format(*listener.sock.getsockname()[:2])
            for name, listener in self._listeners.items()
        }

    def serial_addresses(self) -> dict[str, str]:
        """Return the VISA resource name of each instrument with a serial port."""
        return {name: line.address for name, line in self._serial.items()}

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
        self.when_readable(reading.fileno(), lambda: reading.recv(64))

    def when_readable(self, descriptor: int, then: Callable[[], object]) -> None:
        """Call `then` whenever a file descriptor can be read."""
        self._register(descriptor, lambda _mask: then())

    def later(self, due: float, action: Callable[[], None]) -> None:
        """Carry an action out when the computer's monotonic clock reaches `due`."""
        self._timed += 1
        heappush(self._timers, (due, self._timed, action))

    def listen(self, listener: Listener) -> None:
        """Begin to take an instrument's clients."""
        listener.sock.listen(BACKLOG)
        self._register(listener.sock.fileno(), listener.ready)

    def refuse(self, listener: Listener) -> None:
        """Refuse an instrument's clients from now on.

        It keeps the port: a socket that is bound and does not listen refuses.
        """
        address = listener.sock.getsockname()
        self._forget(listener.sock.fileno())
        listener.sock.close()
        listener.sock = bound(address)

    def add(self, owner: Listener | SerialPort, connection: Connection) -> None:
        """Begin to serve a client."""
        self._owner[connection] = owner
        self._register(connection.end.fileno(), connection.ready)

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
        self._forget(connection.end.fileno())
        connection.end.close()
        owner.left(connection)

    def serves(self, connection: Connection) -> bool:
        """Return whether a client is still connected."""
        return connection in self._owner

    def full(self) -> bool:
        """Return whether there are as many clients as can be."""
        return len(self._owner) >= MOST_CONNECTIONS

    def close(self) -> None:
        """Close every socket and serial port."""
        for line in self._serial.values():
            line.plugged = False
        for connection in list(self._owner):
            self.drop(connection)
        for listener in self._listeners.values():
            self._forget(listener.sock.fileno())
            listener.sock.close()
        for line in self._serial.values():
            self._forget(line.end.fileno())
            line.end.unplug()
        self._poller.close()

    def _next_timer_s(self) -> float | None:
        """Carry out what is due; return how long until the next, None when nothing is left."""
        while self._timers:
            left = self._timers[0][0] - monotonic()
            if left > 0.0:
                return left
            heappop(self._timers)[2]()
        return None

    def _register(self, descriptor: int, handler: Callable[[int], object]) -> None:
        self._poller.register(descriptor, select.POLLIN)
        self._handlers[descriptor] = handler

    def _forget(self, descriptor: int) -> None:
        if self._handlers.pop(descriptor, None) is not None:
            self._poller.unregister(descriptor)
