"""One connection: calls in, replies out, one after the other."""

from collections.abc import Callable

from simulated_bench.connection import Connection, End, Serving
from simulated_bench.scpi.status import Status
from simulated_bench.vxi11 import rpc, xdr
from simulated_bench.vxi11.numbers import (
    LONGEST_RECORD,
    PROGRAM_VERSION,
    Procedure,
)
from simulated_bench.vxi11.rpc import Call, Outcome
from simulated_bench.vxi11.xdr import Malformed

Reply = Callable[[bytes], None]
"""Takes a call's results."""

Carry = Callable[["Channel", Call, Reply], bool]
"""Carries a procedure out; returns whether there is such a procedure."""


class Channel(Connection):
    """A client's connection to the core or the abort program.

    Parameters
    ----------
    carry
        What carries out the calls of each program, by the program's number.
    """

    def __init__(self, end: End, status: Status, loop: Serving, carry: dict[int, Carry]) -> None:
        super().__init__(end, status, loop)
        self._carry = carry
        self._records = rpc.Records(LONGEST_RECORD)
        self._busy = False
        self.called = False
        self.when_gone: Callable[[], None] | None = None

    def take(self, data: bytes) -> None:
        """Answer the calls that are complete; while one waits, the others wait as well."""
        if not data:
            self._loop.drop(self)
            return
        self._records.feed(data)
        if self._records.too_many:
            self._loop.drop(self)
        elif not self._busy:
            self._answer_all()

    def end_now(self) -> None:
        """End the connection."""
        self._loop.drop(self)

    def gone(self) -> None:
        """Let the links end, too."""
        if self.when_gone is not None:
            self.when_gone()

    def _answer_all(self) -> None:
        try:
            for record in self._records.whole():
                self._answer(rpc.read_call(record))
                if self._busy or not self._loop.serves(self):
                    return
        except Malformed:  # where the next call begins can't be known
            self._loop.drop(self)

    def _answer(self, call: Call) -> None:
        carry = self._carry.get(call.program)
        if call.version != rpc.VERSION:
            self._say(rpc.other_version(call.number))
        elif carry is None:
            self._say(rpc.accepted(call.number, Outcome.PROGRAM_UNAVAILABLE))
        elif call.program_version != PROGRAM_VERSION:
            versions = xdr.unsigned(PROGRAM_VERSION, PROGRAM_VERSION)
            self._say(rpc.accepted(call.number, Outcome.PROGRAM_MISMATCH, versions))
        elif call.procedure == Procedure.NULL:
            self.called = True
            self._say(rpc.accepted(call.number, Outcome.SUCCESS))
        else:
            self.called = True
            self._carry_out(call, carry)

    def _carry_out(self, call: Call, carry: Carry) -> None:
        self._busy = True
        at_once = True

        def reply(results: bytes) -> None:
            self._busy = False
            self._say(rpc.accepted(call.number, Outcome.SUCCESS, results))
            if not at_once:
                self._answer_all()

        try:
            known = carry(self, call, reply)
        except Malformed:
            self._busy = False
            self._say(rpc.accepted(call.number, Outcome.GARBAGE_ARGUMENTS))
            return
        if not known:
            self._busy = False
            self._say(rpc.accepted(call.number, Outcome.PROCEDURE_UNAVAILABLE))
        at_once = False

    def _say(self, record: bytes) -> None:
        if self._loop.serves(self):
            try:
                self.send(record)
            except OSError:
                self._loop.drop(self)
