"""Tell a person what became of a run, without ever waiting for the way there.

Each message is sent by a process of its own that gets the address through its standard input, so
that a notifier that hangs, fills memory or crashes harms nothing, and no address stands in a
process list. What was not delivered is said, without the address, when the run ends.
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Mapping
from importlib.util import find_spec
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:  # a guardian notifies, too, and needs no documents
    from sequencer.documents.bench import BenchDocument
    from sequencer.documents.load import Documents

VARIABLE = "STEADYRAIL_NOTIFY"
"""Where an address is taken from that should not stand in a document."""

SENDER = "sequencer.run.notify_sender"

LAST_WAIT_S = 10.0
"""At the end of a run messages under way get this long; then they are given up."""

MOST_UNDER_WAY = 8
"""More messages than that are not sent: a run in trouble must not start processes without end."""


def notifier_of(documents: "Documents") -> "Notifier":
    """Return what tells a person, silent where no address is known."""
    title = f"{documents.profile.profile.name} on {documents.unit.unit.tag}"
    return Notifier(address_of(documents.bench, os.environ), title)


def address_of(bench: "BenchDocument", environment: Mapping[str, str]) -> str:
    """Return the address to notify, empty where there is none; the environment wins."""
    table = bench.notifications
    written = "" if table is None or table.address is None else table.address.get_secret_value()
    return environment.get(VARIABLE, "") or written


def possible() -> bool:
    """Return whether the library that delivers is installed (the extra `notify`)."""
    return find_spec("apprise") is not None


class Notifier:
    """Sends messages and forgets them until the end; with an empty address it does nothing."""

    def __init__(self, address: str, title: str) -> None:
        self._address = address
        self._title = title
        self._under_way: list[tuple[str, subprocess.Popen[bytes]]] = []
        self.failed: list[str] = []
        """What was not delivered: the subject of each message and why."""

    def as_json(self) -> str:
        """Return one line that another process makes the same notifier of; for a pipe, no file."""
        return json.dumps([self._address, self._title])

    @classmethod
    def from_json(cls, line: str) -> Self:
        """Return the notifier that `as_json` wrote, a silent one for an empty line."""
        address, title = json.loads(line or '["", ""]')
        return cls(address, title)

    def tell(self, subject: str, text: str) -> None:
        """Start sending a message; returns at once and never raises."""
        if not self._address:
            return
        self._collect()
        if len(self._under_way) >= MOST_UNDER_WAY:
            self.failed.append(f"{subject}: too many messages are still under way")
            return
        title, body = f"{self._title}: {subject}", text[:MOST_CHARACTERS]
        message = {"address": self._address, "title": title, "body": body}
        try:
            process = subprocess.Popen(  # noqa: S603  # our own program, with our own arguments
                [sys.executable, "-m", SENDER],
                stdin=subprocess.PIPE,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                start_new_session=True,
            )
            if process.stdin is not None:
                # Less than a pipe's buffer of 64 KiB, so this can't wait for the reader.
                process.stdin.write(json.dumps(message).encode())
                process.stdin.close()
        except OSError as error:
            self.failed.append(f"{subject}: {os.strerror(error.errno or 0)}")
            return
        self._under_way.append((subject, process))

    def finish(self, limit_s: float = LAST_WAIT_S) -> tuple[str, ...]:
        """Wait a little for what is under way, end the rest, and return what was not delivered."""
        end = time.monotonic() + limit_s
        for subject, process in self._under_way:
            try:
                code = process.wait(max(0.0, end - time.monotonic()))
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
                self.failed.append(f"{subject}: no answer within {limit_s:.0f} s")
                continue
            self._judge(subject, code)
        self._under_way.clear()
        return tuple(self.failed)

    def _collect(self) -> None:
        left = []
        for subject, process in self._under_way:
            if (code := process.poll()) is None:
                left.append((subject, process))
            else:
                self._judge(subject, code)
        self._under_way = left

    def _judge(self, subject: str, code: int) -> None:
        if code:
            self.failed.append(f"{subject}: {REASONS.get(code, 'the notifier failed')}")


MOST_CHARACTERS = 5000
"""Of a text; JSON may need six bytes for one."""

NOT_INSTALLED, BAD_ADDRESS, NOT_DELIVERED = 3, 4, 5
REASONS = {
    NOT_INSTALLED: "install the extra: pip install 'steadyrail[notify]'",
    BAD_ADDRESS: "the address is none that is known",
    NOT_DELIVERED: "it was not accepted at the address",
}
