"""Output whose reader may go away in the night: the run, its record and its exit code stand."""

import os
import sys
from typing import Any, TextIO

from rich.console import Console


class Steady:
    """A stream that writes into nothing once whoever read it has gone."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write `text`, or nothing."""
        try:
            return self._stream.write(text)
        except OSError:
            self._leave()
            return len(text)

    def flush(self) -> None:
        """Flush what there is."""
        try:
            self._stream.flush()
        except OSError:
            self._leave()

    def _leave(self) -> None:
        """Let what is still in the stream's buffer go to nothing, too."""
        try:
            number = self._stream.fileno()
        except (OSError, ValueError):
            return  # no file at all
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, number)
        os.close(nothing)

    def __getattr__(self, name: str) -> Any:  # what else a stream has
        return getattr(self._stream, name)


def messages() -> Console:
    """Return what speaks to people while a run goes on: standard error."""
    return Console(file=Steady(sys.stderr))  # type: ignore[arg-type]  # a stream in all that matters


def results() -> Console:
    """Return where results go: standard output."""
    return Console(file=Steady(sys.stdout))  # type: ignore[arg-type]


def tell_program(text: str) -> None:
    """Write a line to standard output for a program that reads it."""
    out = Steady(sys.stdout)
    out.write(text + "\n")
    out.flush()
