"""HiSLIP's messages and how they are cut out of a stream (IVI-6.1)."""

from collections.abc import Iterator
from enum import IntEnum
from struct import Struct
from typing import Final, NamedTuple

HEADER: Final = Struct("!2sBBIQ")
"""Prologue, type, control code, parameter, length of the payload."""

PROLOGUE: Final = b"HS"
LONGEST_PAYLOAD: Final = 64 * 1024
"""What is longer is read past and never kept."""

FIRST_VENDOR_KIND: Final = 128

DELIVERED: Final = 1
"""Bit of a client's control code: it has taken the whole last answer (RMT-delivered)."""


class Kind(IntEnum):
    """Message types that this server knows."""

    INITIALIZE = 0
    INITIALIZE_RESPONSE = 1
    FATAL_ERROR = 2
    ERROR = 3
    ASYNC_LOCK = 4
    ASYNC_LOCK_RESPONSE = 5
    DATA = 6
    DATA_END = 7
    DEVICE_CLEAR_COMPLETE = 8
    DEVICE_CLEAR_ACKNOWLEDGE = 9
    ASYNC_REMOTE_LOCAL_CONTROL = 10
    ASYNC_REMOTE_LOCAL_RESPONSE = 11
    TRIGGER = 12
    INTERRUPTED = 13
    ASYNC_INTERRUPTED = 14
    ASYNC_MAXIMUM_MESSAGE_SIZE = 15
    ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE = 16
    ASYNC_INITIALIZE = 17
    ASYNC_INITIALIZE_RESPONSE = 18
    ASYNC_DEVICE_CLEAR = 19
    ASYNC_STATUS_QUERY = 21
    ASYNC_STATUS_RESPONSE = 22
    ASYNC_DEVICE_CLEAR_ACKNOWLEDGE = 23
    ASYNC_LOCK_INFO = 24
    ASYNC_LOCK_INFO_RESPONSE = 25


class Problem(IntEnum):
    """Codes of `Kind.ERROR`; the session goes on."""

    UNIDENTIFIED = 0
    UNRECOGNIZED_MESSAGE_TYPE = 1
    UNRECOGNIZED_CONTROL_CODE = 2
    UNRECOGNIZED_VENDOR_MESSAGE = 3
    MESSAGE_TOO_LARGE = 4


class Fatal(IntEnum):
    """Codes of `Kind.FATAL_ERROR`; the session ends."""

    UNIDENTIFIED = 0
    POORLY_FORMED_HEADER = 1
    NOT_BOTH_CHANNELS = 2
    INVALID_INITIALIZATION = 3
    TOO_MANY_CLIENTS = 4


class Message(NamedTuple):
    """One message; `payload` is empty where it was longer than is kept (`length`)."""

    kind: int
    control: int = 0
    parameter: int = 0
    payload: bytes = b""
    length: int = 0

    def packed(self) -> bytes:
        """Return the bytes."""
        head = HEADER.pack(PROLOGUE, self.kind, self.control, self.parameter, len(self.payload))
        return head + self.payload


class MalformedHeader(Exception):
    """The stream does not go on with a header: where the next one begins can't be known."""


class Reader:
    """Cuts messages out of what comes in, keeping one message at most."""

    def __init__(self) -> None:
        self._data = bytearray()
        self._skip = 0

    def feed(self, data: bytes) -> Iterator[Message]:
        """Yield every message that is complete now.

        Raises
        ------
        MalformedHeader
            When a header does not begin with its prologue.
        """
        if not self._data and not self._skip and len(data) >= HEADER.size:
            mark, kind, control, parameter, length = HEADER.unpack_from(data)
            if mark == PROLOGUE and length == len(data) - HEADER.size <= LONGEST_PAYLOAD:
                # One whole message is the usual case.
                yield Message(kind, control, parameter, data[HEADER.size :], length)
                return
        self._data += data
        while True:
            if self._skip:
                skipped = min(self._skip, len(self._data))
                del self._data[:skipped]
                self._skip -= skipped
            if not self._data.startswith(PROLOGUE[: len(self._data)]):
                raise MalformedHeader
            if len(self._data) < HEADER.size:
                return
            _, kind, control, parameter, length = HEADER.unpack_from(self._data)
            if length > LONGEST_PAYLOAD:
                del self._data[: HEADER.size]
                self._skip = length
                yield Message(kind, control, parameter, b"", length)
                continue
            end = HEADER.size + length
            if len(self._data) < end:
                return
            payload = bytes(self._data[HEADER.size : end])
            del self._data[:end]
            yield Message(kind, control, parameter, payload, length)
