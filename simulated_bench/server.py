"""Serves instruments on loopback: one process, one thread, one loop over all sockets.

Messages and answers end with LF (a CR before it is white space to the parser). A line that is too
long is an error and its connection is closed; so is one whose answers nobody fetches.
"""

import select
import signal
import socket
from collections import deque
from collections.abc import Callable, Mapping
from heapq import heappop, heappush
from time import monotonic
from typing import Final

from simulated_bench.instruments.table_top import Placed
from simulated_bench.scpi.errors import ScpiError

LONGEST_LINE: Final = 64 * 1024
MOST_UNSENT: Final = 1024 * 1024
"""Answers kept for a client that does not fetch them; beyond, −430 and the connection ends."""

CHUNK: Final = 16 * 1024
MOST_CONNECTIONS: Final = 200
"""Of all instruments together; far below the usual 1024 open files of a process."""

BACKLOG: Final = 64
AT_ONCE: Final = 32
"""Ready sockets taken per round."""


class Connection:
    """One client of one instrument."""

    def __init__(self, sock: socket.socket, placed: Placed, loop: "Server") -> None:
        self.sock = sock
        self._device = device = placed.device
        self._link = placed.link
        self._loop = loop
        self._started = bytearray()
        self._unsent = bytearray()
        # Looked up once: these are all that a usual query needs.
        self._receive, self._answer, self._reply = sock.recv, device.answer, sock.send
        self._held: deque[bytes] = deque()
        self._held_until = 0.0
        self.route()

    def route(self) -> None:
        """Let messages pass through the link only while something is wrong with it."""
        plain = not self._link.disturbed and not self._held
        self._answer = self._device.answer if plain else self._carry

    def _carry(self, message: bytes) -> bytes:
        """Take a message over a disturbed link.

        Raises
        ------
        ConnectionAbortedError
            When the link ends here.
        """
        delivery = self._link.carry(message)
        if delivery.closes:
            raise ConnectionAbortedError
        now = delivery.now
        if now and self._held:  # an instrument answers in order
            self._hold(now, 0.0)
            now = b""
        if delivery.later:
            self._hold(delivery.later, delivery.delay_s)
        return now

    def _hold(self, answer: bytes, delay_s: float) -> None:
        self._held.append(answer)
        self._held_until = max(self._held_until, monotonic() + delay_s)
        self._loop.later(self._held_until, self._release)
        self.route()

    def _release(self) -> None:
        if self._loop.serves(self) and self._held:
            answer = self._held.popleft()
            try:
                self._send(answer)
            except OSError:
                self._loop.drop(self)
            self.route()

    def ready(self, mask: int) -> None:
        """Read what came, answer whole messages, send what is left."""
        try:
            if mask & select.POLLOUT:
                self._flush()
                if mask == select.POLLOUT:
                    return
            data = self._receive(CHUNK)
            if not self._started and data.find(b"\n") == len(data) - 1 and data:
                answer = self._answer(data[:-1])  # one whole message: the usual case
                if answer:
                    self._send(answer)
            else:
                self._take(data)
        except (BlockingIOError, InterruptedError):
            return
        except OSError:
            self._loop.drop(self)

    def _take(self, data: bytes) -> None:
        """Take in the end of the connection, a part of a message, or several messages."""
        if not data:
            self._loop.drop(self)
            return
        self._started += data
        *lines, rest = bytes(self._started).split(b"\n")
        self._started = bytearray(rest)
        whole = [line for line in lines if len(line) <= LONGEST_LINE]
        answers = b"".join([self._answer(line) for line in whole])
        if answers:
            self._send(answers)
        if len(rest) > LONGEST_LINE or len(whole) < len(lines):
            self._device.status.put(ScpiError(-363, f"a line of more than {LONGEST_LINE} bytes"))
            self._loop.drop(self)

    def _send(self, answer: bytes) -> None:
        if self._unsent:
            self._unsent += answer
        else:
            try:
                sent = self._reply(answer)
            except BlockingIOError:
                sent = 0
            if sent == len(answer):
                return
            self._unsent += answer[sent:]
            self._loop.watch(self, writing=True)
        if len(self._unsent) > MOST_UNSENT:
            self._device.status.put(ScpiError(-430, "nobody fetches the answers"))
            self._loop.drop(self)

    def _flush(self) -> None:
        if self._unsent:
            sent = self.sock.send(self._unsent)
            del self._unsent[:sent]
        if not self._unsent:
            self._loop.watch(self, writing=False)


class Listener:
    """One instrument's listening socket."""

    def __init__(self, sock: socket.socket, placed: Placed, loop: "Server") -> None:
        self.sock = sock
        self._placed = placed
        self._loop = loop
        self.clients: set[Connection] = set()
        self._answered_by = placed.link.answered_by
        self._refusing = False

    def follow_link(self) -> None:
        """Do what the link's faults ask for, now and whenever they change."""
        self._placed.link.when_changed(self._changed)
        self._changed()

    def _changed(self) -> None:
        link = self._placed.link
        if link.refuses != self._refusing:
            self._refusing = link.refuses
            self._loop.refuse(self, refusing=self._refusing)
        gone = self._refusing or link.answered_by != self._answered_by
        self._answered_by = link.answered_by
        for client in list(self.clients):
            if gone:
                self._loop.drop(client)
            else:
                client.route()

    def ready(self, _mask: int) -> None:
        """Take a client in, or close the connection when there are too many."""
        try:
            sock, _ = self.sock.accept()
        except OSError:
            return
        full = len(self.clients) >= self._placed.clients
        if full or self._loop.connections() >= MOST_CONNECTIONS:
            sock.close()
            return
        sock.setblocking(False)
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._loop.add(self, Connection(sock, self._placed, self._loop))


class Server:
    """All sockets of one bench.

    Raises
    ------
    OSError
        When a port can't be had.
    """

    def __init__(self, instruments: Mapping[str, Placed], host: str, port: int) -> None:
        self._poller = select.epoll()
        self._handlers: dict[int, Callable[[int], object]] = {}
        self._listeners: dict[str, Listener] = {}
        self._owner: dict[Connection, Listener] = {}
        self._timers: list[tuple[float, int, Callable[[], None]]] = []
        self._timed = 0
        self._running = True
        try:
            for offset, (name, placed) in enumerate(instruments.items()):
                self._listen(name, placed, host, port + offset if port else 0)
        except OSError:
            self.close()
            raise

    def addresses(self) -> dict[str, str]:
        """Return each instrument's VISA resource name."""
        return {
            name: "TCPIP0::{}::{}::SOCKET".format(*listener.sock.getsockname()[:2])
            for name, listener in self._listeners.items()
        }

    def run(self) -> None:
        """Serve until `stop`."""
        # One level below `selectors`, whose bookkeeping shows in the time of a query.
        poll, handlers, timers = self._poller.poll, self._handlers, self._timers
        while self._running:
            for descriptor, mask in poll(self._next_timer_s() if timers else None, AT_ONCE):
                handler = handlers.get(descriptor)
                if handler is not None:  # an earlier one of this round may have closed it
                    handler(mask)

    def later(self, due: float, action: Callable[[], None]) -> None:
        """Carry an action out when the computer's monotonic clock reaches `due`."""
        self._timed += 1
        heappush(self._timers, (due, self._timed, action))

    def _next_timer_s(self) -> float | None:
        """Carry out what is due; return how long until the next, None when nothing is left."""
        while self._timers:
            left = self._timers[0][0] - monotonic()
            if left > 0.0:
                return left
            heappop(self._timers)[2]()
        return None

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

    def add(self, listener: Listener, connection: Connection) -> None:
        """Begin to serve a client."""
        listener.clients.add(connection)
        self._owner[connection] = listener
        self._register(connection.sock.fileno(), connection.ready)

    def watch(self, connection: Connection, *, writing: bool) -> None:
        """Choose whether a client's socket is also waited for to become writable."""
        events = select.POLLIN | (select.POLLOUT if writing else 0)
        if connection in self._owner:
            self._poller.modify(connection.sock.fileno(), events)

    def drop(self, connection: Connection) -> None:
        """End a client's connection."""
        listener = self._owner.pop(connection, None)
        if listener is not None:
            listener.clients.discard(connection)
            self._forget(connection.sock.fileno())
        connection.sock.close()

    def serves(self, connection: Connection) -> bool:
        """Return whether a client is still connected."""
        return connection in self._owner

    def refuse(self, listener: Listener, *, refusing: bool) -> None:
        """Refuse an instrument's clients from now on, or take them again.

        Refusing keeps the port: a socket that is bound and does not listen refuses.
        """
        if not refusing:
            listener.sock.listen(BACKLOG)
            self._register(listener.sock.fileno(), listener.ready)
            return
        address = listener.sock.getsockname()
        self._forget(listener.sock.fileno())
        listener.sock.close()
        listener.sock = _bound(address)

    def connections(self) -> int:
        """Return how many clients there are."""
        return len(self._owner)

    def close(self) -> None:
        """Close every socket."""
        for connection in list(self._owner):
            self.drop(connection)
        for listener in self._listeners.values():
            self._forget(listener.sock.fileno())
            listener.sock.close()
        self._poller.close()

    def _register(self, descriptor: int, handler: Callable[[int], object]) -> None:
        self._poller.register(descriptor, select.POLLIN)
        self._handlers[descriptor] = handler

    def _forget(self, descriptor: int) -> None:
        if self._handlers.pop(descriptor, None) is not None:
            self._poller.unregister(descriptor)

    def _listen(self, name: str, placed: Placed, host: str, port: int) -> None:
        sock = _bound((host, port))
        sock.listen(BACKLOG)
        listener = Listener(sock, placed, self)
        self._register(sock.fileno(), listener.ready)
        self._listeners[name] = listener
        listener.follow_link()


def _bound(address: tuple[str, int]) -> socket.socket:
    """Return a socket that has a port and does not listen yet."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.bind(address)
    except OSError:
        sock.close()
        raise
    sock.setblocking(False)
    return sock
