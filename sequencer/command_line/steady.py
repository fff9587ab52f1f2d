"""The two ways out of a command: messages for people, results for people or programs."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console

from sequencer.steady import Aside, tell_all


@contextmanager
def messages() -> Iterator[Console]:
    """Yield what speaks to people while a run goes on: standard error, brought out at the end.

    Nobody who prints there ever waits or fails.
    """
    aside = Aside(sys.stderr)
    try:
        yield Console(file=aside)  # type: ignore[arg-type]  # a stream in all that matters
    finally:
        aside.drain()


def tell(show: Callable[[Console], None]) -> str:
    """Show results on standard output; return what hindered that, empty where nothing did."""
    # A stream in all that matters.
    return tell_all(lambda out: show(Console(file=out)))  # type: ignore[arg-type]
