"""Output whose reader may go away or stand still in the night: nobody who works waits for it."""

import os
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from select import POLLOUT, poll
from typing import Any, TextIO

MOST_BYTES = 1 << 18
"""What a terminal that stands still gets once it moves again: the newest quarter of a megabyte."""

PIECE_BYTES = 200
"""A terminal or pipe that says it takes something takes that much without waiting."""

LOOK_S = 0.05
LAST_WAIT_S = 2.0
"""At a program's end a terminal that stands still gets this long."""


class Steady:
    """A stream that writes into nothing once whoever read it has gone.

    Any other failure is the caller's: what was written is lost, and a program may wait for it.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write `text`, or nothing."""
        try:
            return self._stream.write(text)
        except BrokenPipeError:
            leave(self._stream)
            return len(text)

    def flush(self) -> None:
        """Flush what there is."""
        try:
            self._stream.flush()
        except BrokenPipeError:
            leave(self._stream)

    def __getattr__(self, name: str) -> Any:  # what else a stream has
        return getattr(self._stream, name)


class Aside:
    """A stream that is written by a thread of its own, so that writing never waits and never fails.

    A terminal may stand still (Ctrl-S, a frozen link), and whoever writes to it then would be held
    with the load on. What can't be written is kept, of much the newest part; `drain` waits for it.
    A stream without a file (a test's) is written at once.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._handle = _handle(stream)
        self._waiting: deque[bytes] = deque()
        self._bytes = 0
        self._changed = threading.Condition()
        self._writing = False
        if self._handle is not None:  # now: a computer without memory left starts no thread
            threading.Thread(target=self._write_on, name="words", daemon=True).start()

    def write(self, text: str) -> int:
        """Hand `text` over; returns at once."""
        if self._handle is None:
            with suppress(OSError, ValueError):
                self._stream.write(text)
            return len(text)
        data = text.encode(self._stream.encoding or "utf-8", "backslashreplace")
        with self._changed:
            self._waiting.append(data)
            self._bytes += len(data)
            while self._bytes > MOST_BYTES and len(self._waiting) > 1:
                self._bytes -= len(self._waiting.popleft())
            self._changed.notify_all()
        return len(text)

    def flush(self) -> None:
        """Wait for nothing: what was written is on its way."""
        if self._handle is None:
            with suppress(OSError, ValueError):
                self._stream.flush()

    def drain(self, limit_s: float = LAST_WAIT_S) -> None:
        """Wait until all is written, or a little; only where nothing is energised any more."""
        end = time.monotonic() + limit_s
        with self._changed:
            while (self._waiting or self._writing) and time.monotonic() < end:
                self._changed.wait(LOOK_S)

    def _write_on(self) -> None:
        while True:
            with self._changed:
                self._writing = False
                self._changed.notify_all()
                while not self._waiting:
                    self._changed.wait()
                data = self._waiting.popleft()
                self._bytes -= len(data)
                self._writing = True
            self._bring_out(data)

    def _bring_out(self, data: bytes) -> None:
        while data:
            try:
                data = data[os.write(self._handle or 0, data) :]
            except BlockingIOError:  # somebody set the terminal so
                time.sleep(LOOK_S)
            except BrokenPipeError:
                leave(self._stream)
                return
            except OSError:
                return

    def __getattr__(self, name: str) -> Any:  # what else a stream has
        return getattr(self._stream, name)


def say_last(text: str, limit_s: float = LAST_WAIT_S) -> None:
    """Write a program's last line to standard error, which may stand still: its end must come.

    Without a thread, which a computer without memory left would not start.
    """
    end = time.monotonic() + limit_s
    data = f"{text}\n".encode(errors="backslashreplace")
    handle = _handle(sys.stderr)
    if handle is None:
        sys.stderr.write(f"{text}\n")
        return
    with suppress(OSError):
        sys.stderr.flush()
        ready = poll()
        ready.register(handle, POLLOUT)
        while data and ready.poll(max(0.0, end - time.monotonic()) * 1000.0):
            data = data[os.write(handle, data[:PIECE_BYTES]) :]


def tell_all(show: Callable[[Steady], None]) -> str:
    """Write to standard output; return what hindered that, empty where nothing did.

    A reader that has gone wants no more; a disk that is full loses what somebody waits for.
    """
    out = Steady(sys.stdout)
    try:
        show(out)
        out.flush()
    except OSError as error:
        leave(sys.stdout)
        return error.strerror or str(error)
    return ""


def tell_program(text: str) -> str:
    """Write a line for a program that reads it; return as `tell_all`."""

    def show(out: Steady) -> None:
        out.write(f"{text}\n")

    return tell_all(show)


def leave(stream: TextIO) -> None:
    """Let what is still in a stream's buffer, and all that follows, go to nothing."""
    if (handle := _handle(stream)) is None:
        return
    nothing = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nothing, handle)
    os.close(nothing)


def _handle(stream: TextIO) -> int | None:
    try:
        return stream.fileno()
    except (OSError, ValueError, AttributeError):
        return None  # no file at all
