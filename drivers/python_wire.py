"""Drivers written in Python, for instruments that no dialect file can describe.

Another package gives, in the entry point group `steadyrail.drivers`, a function that opens a wire:
whatever takes a message and returns an answer. The instrument then is in the bench document as any
other, with the address `PYTHON::NAME::REST`; messages and readings remain the dialect's, so that
the wire only translates them to what the instrument understands (binary frames, registers, a
library).
"""

from collections.abc import Callable
from importlib.metadata import entry_points
from typing import Protocol, runtime_checkable

GROUP = "steadyrail.drivers"
PREFIX = "PYTHON::"


@runtime_checkable
class Wire(Protocol):
    """One open connection to an instrument, for one owner; after an error it is only closed."""

    def write(self, message: bytes) -> None:
        """Take a message, which ends in the dialect's write terminator."""

    def read(self, timeout_s: float) -> bytes:
        """Return the answer to the last question, ending in the dialect's read terminator.

        Raises
        ------
        TimeoutError
            When it did not come in time.
        """

    def close(self) -> None:
        """Close."""


Opener = Callable[[str, float], Wire]
"""Takes what follows the name in the address, and the greatest time for opening and writing."""


class UnknownDriver(Exception):
    """No package gives a driver of that name, or what it gives is none."""


def open_python_wire(address: str, timeout_s: float) -> Wire:
    """Open the wire that an address names.

    Raises
    ------
    UnknownDriver
        With the names that there are.
    """
    name, _, rest = address.removeprefix(PREFIX).partition("::")
    known = {entry.name: entry for entry in entry_points(group=GROUP)}
    if name not in known:
        there = ", ".join(sorted(known)) or "none"
        raise UnknownDriver(f"no installed package gives a driver {name!r}; there are: {there}")
    opener: Opener = known[name].load()
    wire = opener(rest, timeout_s)
    if not isinstance(wire, Wire):
        raise UnknownDriver(
            f"the driver {name!r} gives {type(wire).__name__}, which has no write, read and close"
        )
    return wire
