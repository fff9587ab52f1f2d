"""Takes an instrument's HiSLIP clients and joins their two connections to a session."""

import socket
from functools import partial
from time import monotonic
from typing import Final

from simulated_bench.connection import Connection
from simulated_bench.hislip.channel import Channel
from simulated_bench.hislip.message import Fatal, Kind, Message
from simulated_bench.hislip.session import Session
from simulated_bench.instruments.table_top import Placed
from simulated_bench.listener import Listener
from simulated_bench.loop import Loop
from simulated_bench.seats import Seats, Spare

VERSION: Final = 0x0100
"""1.0: later ones add encryption."""

SUB_ADDRESSES: Final = frozenset({b"", b"hislip0"})
"""Each instrument has a port of its own, so there is only the first."""

PATIENCE_S: Final = 5.0
"""A connection that has not become a session's by then is closed."""

MOST_PENDING: Final = 16
"""Connections of one instrument that wait for that at a time."""


class HislipListener(Listener):
    """One instrument's HiSLIP server; a session has one seat and two connections."""

    def __init__(
        self, address: tuple[str, int], placed: Placed, seats: Seats, loop: Loop, spare: Spare
    ) -> None:
        self._pending: set[Channel] = set()
        self._sessions: dict[int, Session] = {}
        self._last_number = 0
        super().__init__(address, placed, seats, loop, spare)

    def left(self, connection: Connection) -> None:
        """Take note; a session gives its seat back when it ends."""
        self._clients.discard(connection)
        if isinstance(connection, Channel):
            self._pending.discard(connection)

    def _welcome(self, sock: socket.socket) -> Connection | None:
        if len(self._pending) >= MOST_PENDING:
            return None
        channel = Channel(sock, self._placed.device.status, self._loop, self._first)
        self._pending.add(channel)
        self._loop.later(monotonic() + PATIENCE_S, partial(self._give_up, channel))
        return channel

    def _give_up(self, channel: Channel) -> None:
        if channel in self._pending:
            channel.fatal(Fatal.INVALID_INITIALIZATION, f"no session within {PATIENCE_S:g} s")

    def _first(self, channel: Channel, message: Message) -> None:
        """Join a connection to a session by its first message."""
        if message.kind == Kind.INITIALIZE and message.payload.lower() in SUB_ADDRESSES:
            self._begin(channel)
        elif message.kind == Kind.ASYNC_INITIALIZE:
            self._join(channel, message.parameter)
        else:
            channel.fatal(Fatal.INVALID_INITIALIZATION, "expected Initialize for hislip0")

    def _begin(self, channel: Channel) -> None:
        if not self._seats.take():
            channel.fatal(Fatal.TOO_MANY_CLIENTS, f"{self._placed.clients} at a time")
            return
        self._last_number = number = self._free_number()
        self._sessions[number] = Session(self._placed, channel, self._loop.later)
        channel.when_gone = partial(self._end, number)
        channel.say(Kind.INITIALIZE_RESPONSE, parameter=VERSION << 16 | number)
        # It stays pending, and may be given up, until the session has both connections.

    def _free_number(self) -> int:
        number = self._last_number
        while True:
            number = number % 0xFFFF + 1
            if number not in self._sessions:
                return number

    def _join(self, channel: Channel, number: int) -> None:
        session = self._sessions.get(number)
        if session is None or session.completed:
            channel.fatal(Fatal.INVALID_INITIALIZATION, f"no session {number} waits for it")
            return
        channel.when_gone = partial(self._end, number)
        self._pending -= {channel, session.sync}
        session.complete(channel)

    def _end(self, number: int) -> None:
        session = self._sessions.pop(number, None)
        if session is not None:
            self._seats.give_back()
            session.end()
