"""The core channel's procedures: what each takes and gives back (VXI-11, appendix C)."""

from collections.abc import Callable, Mapping
from typing import Final, Protocol

from simulated_bench.vxi11 import xdr
from simulated_bench.vxi11.channel import Channel, Reply
from simulated_bench.vxi11.link import Link
from simulated_bench.vxi11.numbers import (
    END_OF_MESSAGE,
    LONGEST_WRITE,
    TERMINATOR_SET,
    Problem,
    Procedure,
)
from simulated_bench.vxi11.rpc import Call
from simulated_bench.vxi11.xdr import Reader

LONGEST_NAME: Final = 256


PLAIN: Final[Mapping[int, Callable[[Link], None]]] = {
    Procedure.TRIGGER: Link.trigger,
    Procedure.CLEAR: Link.clear,
    Procedure.REMOTE: lambda link: link.remote(True),
    Procedure.LOCAL: lambda link: link.remote(False),
}
"""Procedures that give back nothing but an error."""

DECLINED: Final[Mapping[int, Problem]] = {
    Procedure.LOCK: Problem.NOT_SUPPORTED,
    Procedure.UNLOCK: Problem.NO_LOCK_HELD,
    Procedure.ENABLE_SERVICE_REQUEST: Problem.NOT_SUPPORTED,
    Procedure.CREATE_INTERRUPT_CHANNEL: Problem.NOT_SUPPORTED,
    Procedure.DESTROY_INTERRUPT_CHANNEL: Problem.NOT_SUPPORTED,
}


class Links(Protocol):
    """Who makes and ends links."""

    @property
    def port(self) -> int:
        """Of this server, which serves the abort channel as well."""

    def make(self, channel: Channel, name: str) -> int | Problem:
        """Return a new link's number, or why there is none."""

    def get(self, channel: Channel, number: int) -> Link | None:
        """Return a connection's link."""

    def destroy(self, channel: Channel, number: int) -> bool:
        """End a link; return whether there was one."""


def carry_out(links: Links, channel: Channel, call: Call, reply: Reply) -> bool:
    """Carry one procedure out; return whether this server knows it.

    Raises
    ------
    Malformed
        When the arguments are not those of the procedure.
    """
    arguments = call.arguments
    match call.procedure:
        case Procedure.CREATE_LINK:
            _create(links, channel, arguments, reply)
        case Procedure.DESTROY_LINK:
            found = links.destroy(channel, arguments.signed())
            reply(_error(Problem.NONE if found else Problem.INVALID_LINK))
        case Procedure.WRITE:
            _write(links.get(channel, arguments.signed()), arguments, reply)
        case Procedure.READ:
            _read(links.get(channel, arguments.signed()), arguments, reply)
        case Procedure.READ_STATUS:
            link = _generic(links, channel, arguments)
            byte = 0 if link is None else link.status_byte()
            reply(_found(link) + xdr.unsigned(byte))
        case Procedure.COMMAND:
            reply(_error(Problem.NOT_SUPPORTED) + xdr.opaque(b""))
        case number if number in PLAIN:
            _do(_generic(links, channel, arguments), PLAIN[number], reply)
        case number if number in DECLINED:
            reply(_error(DECLINED[number]))
        case _:
            return False
    return True


def _create(links: Links, channel: Channel, arguments: Reader, reply: Reply) -> None:
    """`Create_LinkParms`: clientId, lockDevice, lock_timeout, device."""
    arguments.signed()
    locks = arguments.signed()
    arguments.unsigned()
    name = arguments.opaque(LONGEST_NAME).decode("latin-1")
    made = Problem.NOT_SUPPORTED if locks else links.make(channel, name)
    problem, number = (made, 0) if isinstance(made, Problem) else (Problem.NONE, made)
    reply(_error(problem) + xdr.signed(number) + xdr.unsigned(links.port, LONGEST_WRITE))


def _write(link: Link | None, arguments: Reader, reply: Reply) -> None:
    """`Device_WriteParms` without link: io_timeout, lock_timeout, flags, data."""
    arguments.unsigned()
    arguments.unsigned()
    flags = arguments.signed()
    data = arguments.opaque(LONGEST_WRITE)
    if link is not None:
        link.write(data, ends=bool(flags & END_OF_MESSAGE))
    reply(_found(link) + xdr.unsigned(0 if link is None else len(data)))


def _read(link: Link | None, arguments: Reader, reply: Reply) -> None:
    """`Device_ReadParms` without link: requestSize, io_timeout, lock_timeout, flags, termChar."""
    most, patience_ms, _ = (arguments.unsigned() for _ in range(3))
    flags, mark = arguments.signed(), arguments.signed()
    terminator = bytes([mark & 0xFF]) if flags & TERMINATOR_SET else b""

    def done(problem: Problem, reason: int, data: bytes) -> None:
        reply(_error(problem) + xdr.signed(reason) + xdr.opaque(data))

    if link is None:
        done(Problem.INVALID_LINK, 0, b"")
    else:
        link.read(most, patience_ms / 1000.0, terminator, done)


def _generic(links: Links, channel: Channel, arguments: Reader) -> Link | None:
    """`Device_GenericParms`: link, flags, lock_timeout, io_timeout."""
    number = arguments.signed()
    for _ in ("flags", "lock_timeout", "io_timeout"):
        arguments.unsigned()
    return links.get(channel, number)


def _do(link: Link | None, what: Callable[[Link], None], reply: Reply) -> None:
    if link is not None:
        what(link)
    reply(_found(link))


def _found(link: Link | None) -> bytes:
    return _error(Problem.INVALID_LINK if link is None else Problem.NONE)


def _error(problem: Problem) -> bytes:
    return xdr.signed(problem)
