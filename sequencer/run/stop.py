"""Signals that end a run: they only raise a flag, which the run looks at between two readings.

Nothing is interrupted in the middle, so no message is cut in half, no commit is doubled, and making
safe can't be stopped by a second Ctrl-C.
"""

import os
import signal
import threading
from collections.abc import Callable
from types import FrameType, TracebackType
from typing import Any, Self

from sequencer.errors import Interrupted

STREAMS = (0, 1, 2)
SIGNALS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


class Stop:
    """While entered, signals raise the flag; `check` ends the run once it is up."""

    def __init__(self, on_request: Callable[[], None] = lambda: None) -> None:
        self.requested_by = ""
        self._on_request = on_request
        # The standard library's own union of handlers.
        self._before: dict[signal.Signals, Any] = {}
        self._terminals: tuple[int, ...] = ()

    def __enter__(self) -> Self:
        """Take the signals over; in another thread than the main one they can't be."""
        if threading.current_thread() is threading.main_thread():
            # A run that was told to outlive its terminal (nohup) does.
            taken = [n for n in SIGNALS if signal.getsignal(n) is not signal.SIG_IGN]
            self._before = {number: signal.signal(number, self._handle) for number in taken}
            self._terminals = tuple(n for n in STREAMS if _is_terminal(n))
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
        if number == signal.SIGHUP:
            _leave(self._terminals)
        if not self.requested_by:
            self.requested_by = signal.Signals(number).name
            self._on_request()


def _is_terminal(number: int) -> bool:
    try:
        return os.isatty(number)
    except OSError:
        return False


def _leave(terminals: tuple[int, ...]) -> None:
    """Write into nothing from now on: a closed terminal fails every write in the middle of work."""
    nothing = os.open(os.devnull, os.O_RDWR)
    for number in terminals:
        os.dup2(nothing, number)
    os.close(nothing)
