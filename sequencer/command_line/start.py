"""Where the program begins: an interrupt ends it in words, also while Python still loads it."""

import os
import signal
import sys
from types import FrameType
from typing import NoReturn

INTERRUPTED = 130


def main() -> None:
    """Load and run the command line."""
    # A program that was told to take no interrupts (nohup) keeps to that.
    heeds = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if heeds:
        signal.signal(signal.SIGINT, _end_at_once)
    from sequencer.command_line.app import main as whole  # noqa: PLC0415  # the handler is first

    if heeds:
        signal.signal(signal.SIGINT, _say_and_raise)
    whole()


def _end_at_once(number: int, frame: FrameType | None) -> NoReturn:
    """End a program whose modules are half loaded, and have nothing to put in order."""
    del number, frame
    os.write(2, b"Interrupted.\n")
    os._exit(INTERRUPTED)


def _say_and_raise(number: int, frame: FrameType | None) -> NoReturn:
    """Say so, and end what is being done; what energises a bench takes the signals over."""
    del number, frame
    sys.stderr.write("Interrupted.\n")
    raise KeyboardInterrupt
