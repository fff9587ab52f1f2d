"""One HiSLIP session with one instrument, in synchronized mode (IVI-6.1)."""

from functools import partial
from typing import Final

from simulated_bench.connection import LONGEST_LINE
from simulated_bench.dialogue import Dialogue, Later
from simulated_bench.hislip.aside import Aside
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
from simulated_bench.scpi.errors import ScpiError

DEFAULT_MESSAGE_SIZE: Final = 256
"""Until a client says how much it takes: little enough for any (common practice, no source)."""


class Session:
    """What is under way between one client and one instrument."""

    def __init__(self, placed: Placed, sync: Channel, later: Later) -> None:
        self._placed = placed
        self._status = placed.device.status
        self.sync = sync
        self._aside: Aside | None = None
        self._dialogue = Dialogue(placed, later, _nothing)
        self._started = bytearray()
        self._overrun = self._clearing = self._unfetched = False
        self._answer_size = DEFAULT_MESSAGE_SIZE - HEADER.size
        sync.handle = self._on_sync

    def complete(self, channel: Channel) -> None:
        """Take the second connection in."""
        self._aside = Aside(channel, self._placed, self)

    @property
    def completed(self) -> bool:
        """Whether both connections are there."""
        return self._aside is not None

    def end(self) -> None:
        """End both connections, because one has ended."""
        self._dialogue.clear()
        self.sync.end_now()
        if self._aside is not None:
            self._aside.channel.end_now()

    def clear(self) -> None:
        """Throw away what is under way and what comes until the client says that it has done so."""
        self._clearing = True
        self._forget()

    def take_size(self, most_bytes: int) -> None:
        """Learn how long a message the client takes, with its header."""
        self._answer_size = min(max(1, most_bytes - HEADER.size), LONGEST_PAYLOAD)

    def status_byte(self, *, delivered: bool) -> int:
        """Return the status byte; `delivered` when the client has taken the whole last answer."""
        if delivered:
            self._unfetched = False
        return self._status.byte(message_available=self._unfetched)

    def _on_sync(self, channel: Channel, message: Message) -> None:
        if not self.completed:
            channel.fatal(Fatal.NOT_BOTH_CHANNELS, "AsyncInitialize comes first")
            return
        match message.kind:
            case Kind.DATA | Kind.DATA_END | Kind.TRIGGER:
                self._on_data(channel, message)
            case Kind.DEVICE_CLEAR_COMPLETE:
                self._clearing = False
                self._forget()
                channel.say(Kind.DEVICE_CLEAR_ACKNOWLEDGE)
            case Kind.INITIALIZE | Kind.ASYNC_INITIALIZE:
                channel.fatal(Fatal.INVALID_INITIALIZATION, "the session has begun already")
            case Kind.FATAL_ERROR:
                channel.end_now()
            case Kind.ERROR:
                pass  # the client could not use something; there is nothing to send again
            case _:
                channel.not_known(message)

    def _on_data(self, channel: Channel, message: Message) -> None:
        if message.control & ~DELIVERED:
            channel.error(Problem.UNRECOGNIZED_CONTROL_CODE, f"{message.control}")
            return
        if self._clearing:
            return  # sent before the client knew
        if message.control & DELIVERED:
            self._unfetched = False
        elif self._unfetched:
            self._interrupted(message.parameter)
        if message.kind == Kind.TRIGGER:
            self._carry_out(b"*TRG", message.parameter)
            return
        self._started += message.payload
        if len(self._started) > LONGEST_LINE or message.length > LONGEST_PAYLOAD:
            self._overrun = True
            self._started.clear()
        if message.kind == Kind.DATA_END:
            whole, overrun = bytes(self._started), self._overrun
            self._started.clear()
            self._overrun = False
            if overrun:
                self._status.put(ScpiError(-363, f"a message of more than {LONGEST_LINE} bytes"))
            else:
                self._carry_out(whole, message.parameter)

    def _carry_out(self, text: bytes, number: int) -> None:
        deliver = partial(self._deliver, number)
        answers = []
        for line in text.removesuffix(b"\n").split(b"\n"):
            if self._dialogue.straight:
                answers.append(self._placed.answer(line))
            else:
                answers.append(self._dialogue.carry(line, deliver))
        whole = b"".join(answers)
        if whole:
            self._send(number, whole)

    def _deliver(self, number: int, answer: bytes) -> None:
        try:
            self._send(number, answer)
        except OSError:
            self.sync.end_now()

    def _send(self, number: int, answer: bytes) -> None:
        """Answer the message with that number, in pieces that the client takes."""
        size = self._answer_size
        for at in range(0, len(answer) - size, size):
            self.sync.say(Kind.DATA, parameter=number, payload=answer[at : at + size])
        last = (len(answer) - 1) // size * size
        self.sync.say(Kind.DATA_END, parameter=number, payload=answer[last:])
        self._unfetched = True

    def _interrupted(self, number: int) -> None:
        """Say that a message came before the last answer was taken (IVI-6.1, interrupted)."""
        self._unfetched = False
        self._status.put(ScpiError(-410, "a message came before the answer was fetched"))
        if self._aside is not None:
            self._aside.channel.say(Kind.ASYNC_INTERRUPTED, parameter=number)
        self.sync.say(Kind.INTERRUPTED, parameter=number)

    def _forget(self) -> None:
        self._dialogue.clear()
        self._started.clear()
        self._overrun = self._unfetched = False


def _nothing() -> None:
    """Each message asks anew whether the way is straight."""
