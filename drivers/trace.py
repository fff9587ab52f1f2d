r"""A trace of every message: a text file that a person reads and the simulated bench replays.

One line an event, columns apart by tabs: seconds since the beginning, instrument, what happened
(`open`, `>` sent, `<` received, `fail`, `close`), and the bytes as text, where a backslash, control
characters and everything that is not ASCII are written as in Python (`\n`, `\xb5`).
"""

import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from drivers.link import Link

HEAD = "# steadyrail message trace 1"

What = Literal["open", ">", "<", "fail", "close"]


class Trace:
    """Writes a trace, each line at once; what can't be written ends the trace, never the run.

    Raises
    ------
    OSError
        When the file can't be made or exists already.
    """

    def __init__(
        self, path: Path, on_lost: Callable[[str], None], now: Callable[[], float] = time.monotonic
    ) -> None:
        self._on_lost = on_lost
        self._now = now
        self._begin = now()
        self._file = path.open("x", encoding="ascii", newline="\n", buffering=1)
        self._file.write(f"{HEAD}\n# begun {datetime.now(UTC).isoformat()}\n")

    def line(self, instrument: str, what: What, data: bytes) -> None:
        """Write one event."""
        if self._file.closed:
            return
        text = data.decode("latin-1").encode("unicode_escape").decode("ascii")
        try:
            self._file.write(f"{self._now() - self._begin:.6f}\t{instrument}\t{what}\t{text}\n")
        except OSError as error:
            self._on_lost(f"the message trace ends here: {error}")
            self.close()

    def close(self) -> None:
        """Close the file; never raises."""
        try:
            self._file.close()
        except OSError:  # what is lost was told when it was to be written
            return


class TracedLink:
    """A link whose messages are traced; see `drivers.link.Link`."""

    def __init__(self, link: Link, instrument: str, address: str, trace: Trace) -> None:
        self._link = link
        self._instrument = instrument
        self._trace = trace
        trace.line(instrument, "open", address.encode("ascii", "backslashreplace"))

    def write(self, message: bytes) -> None:
        """Send and trace a message."""
        try:
            self._link.write(message)
        except Exception as error:
            self._failed(error)
            raise
        self._trace.line(self._instrument, ">", message)

    def read(self, timeout_s: float) -> bytes:
        """Read and trace an answer."""
        try:
            answer = self._link.read(timeout_s)
        except Exception as error:
            partial: bytes = getattr(error, "partial", b"")
            if partial:
                self._trace.line(self._instrument, "<", partial)
            self._failed(error)
            raise
        self._trace.line(self._instrument, "<", answer)
        return answer

    def close(self) -> None:
        """Close; never raises."""
        self._trace.line(self._instrument, "close", b"")
        self._link.close()

    def _failed(self, error: Exception) -> None:
        text = f"{type(error).__name__}: {error}".encode("ascii", "backslashreplace")
        self._trace.line(self._instrument, "fail", text)
