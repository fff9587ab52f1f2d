"""The asynchronous connection of a session: what must not wait behind messages."""

from typing import Final, Protocol

from simulated_bench.hislip.channel import Channel
from simulated_bench.hislip.message import (
    DELIVERED,
    HEADER,
    LONGEST_PAYLOAD,
    Fatal,
    Kind,
    Message,
    Problem,
)
from simulated_bench.instruments.table_top import Placed

VENDOR: Final = int.from_bytes(b"XX", "big")
"""Two letters that stand for a vendor; this server is nobody's product."""

SIZE_BYTES: Final = 8

REMOTE: Final = frozenset({1, 3, 4, 5})
LOCAL: Final = frozenset({0, 2, 6})
"""Control codes of AsyncRemoteLocalControl."""


class Talk(Protocol):
    """What goes on over the session's other connection."""

    def clear(self) -> None:
        """Throw away what is under way."""

    def take_size(self, most_bytes: int) -> None:
        """Learn how long a message the client takes."""

    def status_byte(self, *, delivered: bool) -> int:
        """Return the status byte."""


class Aside:
    """Answers the asynchronous connection."""

    def __init__(self, channel: Channel, placed: Placed, talk: Talk) -> None:
        self.channel = channel
        self._placed = placed
        self._talk = talk
        channel.handle = self._answer
        channel.say(Kind.ASYNC_INITIALIZE_RESPONSE, parameter=VENDOR)

    def _answer(self, channel: Channel, message: Message) -> None:
        match message.kind:
            case Kind.ASYNC_MAXIMUM_MESSAGE_SIZE:
                self._size(channel, message)
            case Kind.ASYNC_STATUS_QUERY:
                delivered = bool(message.control & DELIVERED)
                byte = self._talk.status_byte(delivered=delivered)
                channel.say(Kind.ASYNC_STATUS_RESPONSE, byte)
            case Kind.ASYNC_DEVICE_CLEAR:
                self._talk.clear()
                channel.say(Kind.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE)
            case Kind.ASYNC_REMOTE_LOCAL_CONTROL:
                self._remote(channel, message)
            case Kind.ASYNC_LOCK:
                channel.say(Kind.ASYNC_LOCK_RESPONSE)  # control code 0: not granted
            case Kind.ASYNC_LOCK_INFO:
                channel.say(Kind.ASYNC_LOCK_INFO_RESPONSE)  # nobody holds one
            case Kind.INITIALIZE | Kind.ASYNC_INITIALIZE:
                channel.fatal(Fatal.INVALID_INITIALIZATION, "the session has begun already")
            case Kind.FATAL_ERROR:
                channel.end_now()
            case Kind.ERROR:
                pass  # the client could not use something; there is nothing to send again
            case _:
                channel.not_known(message)

    def _size(self, channel: Channel, message: Message) -> None:
        if len(message.payload) != SIZE_BYTES:
            channel.error(Problem.UNIDENTIFIED, f"expected a size of {SIZE_BYTES} bytes")
            return
        self._talk.take_size(int.from_bytes(message.payload, "big"))
        ours = (LONGEST_PAYLOAD + HEADER.size).to_bytes(SIZE_BYTES, "big")
        channel.say(Kind.ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE, payload=ours)

    def _remote(self, channel: Channel, message: Message) -> None:
        if message.control not in REMOTE | LOCAL:
            channel.error(Problem.UNRECOGNIZED_CONTROL_CODE, f"{message.control}")
            return
        self._placed.device.remote(message.control in REMOTE)
        channel.say(Kind.ASYNC_REMOTE_LOCAL_RESPONSE)
