"""Remote procedure calls: records out of a stream, calls out of records, replies (RFC 5531)."""

from collections.abc import Iterator
from enum import IntEnum
from typing import Final, NamedTuple

from simulated_bench.vxi11 import xdr
from simulated_bench.vxi11.xdr import Malformed, Reader

CALL: Final = 0
REPLY: Final = 1
VERSION: Final = 2
"""Section 9: of the protocol."""

ACCEPTED: Final = 0
DENIED: Final = 1
RPC_MISMATCH: Final = 0
NO_AUTHENTICATION: Final = xdr.unsigned(0, 0)
"""Section 8.2: flavour AUTH_NONE and an empty body."""

LONGEST_AUTHENTICATION: Final = 400
LAST: Final = 0x8000_0000
"""Section 11: the top bit of a fragment's head marks the last one of a record."""

HEAD: Final = 4
MOST_FRAGMENTS: Final = 64
"""Of a record; more, or empty ones without end, are nonsense."""


class Outcome(IntEnum):
    """Of a call that was accepted (section 9, `accept_stat`)."""

    SUCCESS = 0
    PROGRAM_UNAVAILABLE = 1
    PROGRAM_MISMATCH = 2
    PROCEDURE_UNAVAILABLE = 3
    GARBAGE_ARGUMENTS = 4


class Call(NamedTuple):
    """One call; its arguments are still to be read."""

    number: int
    version: int
    program: int
    program_version: int
    procedure: int
    arguments: Reader


class Records:
    """Cuts records out of what comes in, keeping one at most (section 11).

    Parameters
    ----------
    longest
        Of a record in bytes; what is longer ends the stream.
    """

    def __init__(self, longest: int) -> None:
        self._longest = longest
        self._data = bytearray()
        self._record = bytearray()
        self._fragments = 0

    def feed(self, data: bytes) -> None:
        """Take bytes in."""
        self._data += data

    @property
    def too_many(self) -> bool:
        """Whether more waits than two of the longest records."""
        return len(self._data) > 2 * (self._longest + HEAD)

    def whole(self) -> Iterator[bytes]:
        """Yield every record that is complete now.

        Raises
        ------
        Malformed
            When a record is longer than can be.
        """
        while len(self._data) >= HEAD:
            head = int.from_bytes(self._data[:HEAD], "big")
            length = head & ~LAST
            self._fragments += 1
            if len(self._record) + length > self._longest or self._fragments > MOST_FRAGMENTS:
                raise Malformed
            if len(self._data) < HEAD + length:
                self._fragments -= 1
                return
            self._record += self._data[HEAD : HEAD + length]
            del self._data[: HEAD + length]
            if head & LAST:
                record = bytes(self._record)
                self._record.clear()
                self._fragments = 0
                yield record


def read_call(record: bytes) -> Call:
    """Return the call that a record holds.

    Raises
    ------
    Malformed
        When it holds none.
    """
    reader = Reader(record)
    number, kind = reader.unsigned(), reader.unsigned()
    if kind != CALL:
        raise Malformed
    version = reader.unsigned()
    if version != VERSION:  # what follows may look different in another version
        return Call(number, version, 0, 0, 0, reader)
    program, program_version, procedure = (reader.unsigned() for _ in range(3))
    for _ in ("credentials", "verifier"):  # anybody may call, so nobody looks at them
        reader.unsigned()
        reader.opaque(LONGEST_AUTHENTICATION)
    return Call(number, version, program, program_version, procedure, reader)


def accepted(number: int, outcome: Outcome, results: bytes = b"") -> bytes:
    """Return the record of a reply to an accepted call; for a mismatch its versions are results."""
    head = xdr.unsigned(number, REPLY, ACCEPTED) + NO_AUTHENTICATION + xdr.unsigned(outcome)
    return _record(head + results)


def other_version(number: int) -> bytes:
    """Return the record that denies a call of another version of the protocol."""
    return _record(xdr.unsigned(number, REPLY, DENIED, RPC_MISMATCH, VERSION, VERSION))


def _record(body: bytes) -> bytes:
    return xdr.unsigned(LAST | len(body)) + body
