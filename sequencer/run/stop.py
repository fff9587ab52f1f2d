"""Signals that end a run: they only raise a flag, which the run looks at between two readings.

Nothing is interrupted in the middle, so no message is cut in half, no commit is doubled, and making
safe can't be stopped by a second Ctrl-C.
"""

import signal
import threading
from collections.abc import Callable
from types import FrameType, TracebackType
from typing import Any, Self

from sequencer.errors import Interrupted

SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class Stop:
    """While entered, signals raise the flag; `check` ends the run once it is up."""

    def __init__(self, on_request: Callable[[], None] = lambda: None) -> None:
        self.requested_by = ""
        self._on_request = on_request
        # The standard library's own union of handlers.
        self._before: dict[signal.Signals, Any] = {}

    def __enter__(self) -> Self:
        """Take the signals over; in another thread than the main one they can't be."""
        if threading.current_thread() is threading.main_thread():
            self._before = {number: signal.signal(number, self._handle) for number in SIGNALS}
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Give the signals back."""
        for number, handler in self._before.items():
            signal.signal(number, handler)

    def check(self) -> None:
        """End the run if a signal has come.

        Raises
        ------
        Interrupted
            Named after the first signal.
        """
        if self.requested_by:
            raise Interrupted(f"The run was interrupted by {self.requested_by}.")

    def _handle(self, number: int, frame: FrameType | None) -> None:
        del frame
        if not self.requested_by:
            self.requested_by = signal.Signals(number).name
            self._on_request()
