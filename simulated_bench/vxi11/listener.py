"""Takes an instrument's VXI-11 clients, and keeps their links."""

import socket
from functools import partial
from time import monotonic
from typing import Final
from weakref import ref

from simulated_bench.connection import Connection
from simulated_bench.instruments.table_top import Placed
from simulated_bench.listener import Listener
from simulated_bench.loop import Loop
from simulated_bench.seats import Seats, Spare
from simulated_bench.vxi11 import xdr
from simulated_bench.vxi11.channel import Carry, Channel, Reply
from simulated_bench.vxi11.core import carry_out
from simulated_bench.vxi11.link import Link
from simulated_bench.vxi11.numbers import ABORT, CORE, DEVICE_ABORT, Problem
from simulated_bench.vxi11.rpc import Call

DEVICES: Final = frozenset({"inst0", ""})
"""Each instrument has a port of its own, so there is only the first."""

PATIENCE_S: Final = 5.0
"""A connection over which nothing was called by then is closed."""

MOST_WITHOUT_LINK: Final = 6
"""Connections of one instrument that have no link, as abort channels never have one: so few that a
crowd on all roads together leaves room among `loop.MOST_CONNECTIONS`."""

GREATEST_NUMBER: Final = 0x7FFF_FFFF


class Vxi11Listener(Listener):
    """One instrument's VXI-11 server; each link has a seat."""

    def __init__(
        self, address: tuple[str, int], placed: Placed, seats: Seats, loop: Loop, spare: Spare
    ) -> None:
        self._links: dict[int, tuple[Channel, Link]] = {}
        self._last_number = 0
        super().__init__(address, placed, seats, loop, spare)

    @property
    def port(self) -> int:
        """Of this server, which serves the abort channel as well."""
        return self.at[1]

    def left(self, connection: Connection) -> None:
        """Take note; its links have given their seats back."""
        self._clients.discard(connection)

    def make(self, channel: Channel, name: str) -> int | Problem:
        """Return a new link's number, or why there is none."""
        if name.lower() not in DEVICES:
            return Problem.NOT_ACCESSIBLE
        if not self._seats.take():
            return Problem.OUT_OF_RESOURCES
        number = self._last_number
        while True:
            number = number % GREATEST_NUMBER + 1
            if number not in self._links:
                break
        self._last_number = number
        self._links[number] = (channel, Link(self._placed, self._loop.later, channel.end_now))
        return number

    def get(self, channel: Channel, number: int) -> Link | None:
        """Return a connection's link; another connection's is not there."""
        owner, link = self._links.get(number, (None, None))
        return link if owner is channel else None

    def destroy(self, channel: Channel, number: int) -> bool:
        """End a link; return whether there was one."""
        if self.get(channel, number) is None:
            return False
        self._links.pop(number)[1].forget()
        self._seats.give_back()
        return True

    def _welcome(self, sock: socket.socket) -> Connection | None:
        linked = {channel for channel, _ in self._links.values()}
        if len(self._clients - linked) >= MOST_WITHOUT_LINK:
            return None
        carry: dict[int, Carry] = {CORE: partial(carry_out, self), ABORT: self._abort}
        channel = Channel(sock, self._placed.device.status, self._loop, carry)
        channel.when_gone = partial(self._end, channel)
        self._loop.later(monotonic() + PATIENCE_S, partial(_give_up, ref(channel)))
        return channel

    def _abort(self, _channel: Channel, call: Call, reply: Reply) -> bool:
        """Carry out what came over the abort channel: any connection may end any link's read."""
        if call.procedure != DEVICE_ABORT:
            return False
        _, link = self._links.get(call.arguments.signed(), (None, None))
        if link is not None:
            link.abort()
        reply(xdr.signed(Problem.INVALID_LINK if link is None else Problem.NONE))
        return True

    def _end(self, channel: Channel) -> None:
        for number in [n for n, (owner, _) in self._links.items() if owner is channel]:
            self.destroy(channel, number)


def _give_up(waiting: "ref[Channel]") -> None:
    channel = waiting()  # of thousands that have gone again nothing is kept
    if channel is not None and not channel.called:
        channel.end_now()
