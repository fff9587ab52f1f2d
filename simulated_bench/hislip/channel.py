"""One of a session's two connections: bytes to messages, and errors back."""

from collections.abc import Callable
from contextlib import suppress

from simulated_bench.connection import Connection, End, Serving
from simulated_bench.hislip.message import (
    FIRST_VENDOR_KIND,
    HEADER,
    LONGEST_PAYLOAD,
    PROLOGUE,
    Fatal,
    Kind,
    MalformedHeader,
    Message,
    Problem,
    Reader,
)
from simulated_bench.scpi.status import Status

Handle = Callable[["Channel", Message], None]


class Channel(Connection):
    """One connection; who handles its messages is decided by the first of them."""

    def __init__(self, end: End, status: Status, loop: Serving, handle: Handle) -> None:
        super().__init__(end, status, loop)
        self._reader = Reader()
        self.handle = handle
        self.when_gone: Callable[[], None] | None = None

    def take(self, data: bytes) -> None:
        """Hand on the messages that are complete."""
        if not data:
            self._loop.drop(self)
            return
        try:
            for message in self._reader.feed(data):
                if message.length > LONGEST_PAYLOAD and message.kind < FIRST_VENDOR_KIND:
                    self.error(Problem.MESSAGE_TOO_LARGE, f"more than {LONGEST_PAYLOAD} bytes")
                self.handle(self, message)
                if not self._loop.serves(self):
                    return
        except MalformedHeader:
            self.fatal(Fatal.POORLY_FORMED_HEADER, "a header begins with HS")

    def say(self, kind: Kind, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
        """Send a message, unless the connection has ended meanwhile."""
        if self._loop.serves(self):
            self.send(HEADER.pack(PROLOGUE, kind, control, parameter, len(payload)) + payload)

    def error(self, code: Problem, text: str) -> None:
        """Say that a message was not understood and is thrown away."""
        self.say(Kind.ERROR, code, payload=text.encode())

    def not_known(self, message: Message) -> None:
        """Say that a message's type is unknown, or has no business on this channel."""
        if message.kind >= FIRST_VENDOR_KIND:
            self.error(Problem.UNRECOGNIZED_VENDOR_MESSAGE, f"type {message.kind}")
        else:
            self.error(Problem.UNRECOGNIZED_MESSAGE_TYPE, f"type {message.kind}")

    def fatal(self, code: Fatal, text: str) -> None:
        """Say why the session can't go on, and end it."""
        with suppress(OSError):
            self.say(Kind.FATAL_ERROR, code, payload=text.encode())
        self._loop.drop(self)

    def end_now(self) -> None:
        """End the connection."""
        self._loop.drop(self)

    def gone(self) -> None:
        """Take the session's other connection along."""
        if self.when_gone is not None:
            self.when_gone()
