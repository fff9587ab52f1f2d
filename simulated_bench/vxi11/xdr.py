"""XDR, the numbers and byte strings of remote procedure calls (RFC 4506).

Everything is big-endian and fills whole groups of four bytes; a variable-length opaque (4.10) is
its length, its bytes, and zeros up to the next group.
"""

from struct import Struct
from typing import Final

GROUP: Final = 4
_UNSIGNED: Final = Struct("!I")
_SIGNED: Final = Struct("!i")


class Malformed(Exception):
    """The bytes end too early, or hold what can't be."""


class Reader:
    """Takes values off the front of what came."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def unsigned(self) -> int:
        """Return an unsigned integer (4.2).

        Raises
        ------
        Malformed
            When fewer than four bytes are left.
        """
        return int.from_bytes(self._take(GROUP), "big")

    def signed(self) -> int:
        """Return an integer, an enumeration or a boolean (4.1, 4.3, 4.4); raises as `unsigned`."""
        return int.from_bytes(self._take(GROUP), "big", signed=True)

    def opaque(self, longest: int) -> bytes:
        """Return a variable-length opaque or a string (4.10, 4.11).

        Raises
        ------
        Malformed
            When it is longer than `longest`, or than what is left.
        """
        length = self.unsigned()
        if length > longest:
            raise Malformed
        whole = self._take(length + -length % GROUP)
        return whole[:length]

    def _take(self, many: int) -> bytes:
        end = self._at + many
        if end > len(self._data):
            raise Malformed
        taken = self._data[self._at : end]
        self._at = end
        return taken


def unsigned(*values: int) -> bytes:
    """Return unsigned integers, one after the other."""
    return b"".join([_UNSIGNED.pack(value) for value in values])


def signed(value: int) -> bytes:
    """Return an integer."""
    return _SIGNED.pack(value)


def opaque(data: bytes) -> bytes:
    """Return a variable-length opaque."""
    return _UNSIGNED.pack(len(data)) + data + bytes(-len(data) % GROUP)
