"""Where the program begins: an interrupt ends it in words, also while Python still loads it."""

import os
import signal
import sys
from types import FrameType
from typing import NoReturn

from sequencer.steady import say_last

INTERRUPTED = 130
SAID_S = 1.0
MAY_BE_ENERGISED = b" The run may have left its bench energised: steadyrail make-safe RECORD"


def main() -> None:
    """Load and run the command line."""
    _open_what_is_closed()
    # A program that was told to take no interrupts (nohup) keeps to that.
    heeds = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if heeds:
        signal.signal(signal.SIGINT, _end_at_once)
    from sequencer.command_line.app import main as whole  # noqa: PLC0415  # the handler is first

    if heeds:
        signal.signal(signal.SIGINT, _say_and_raise)
    whole()


def _open_what_is_closed() -> None:
    """Give a program that was started without input or outputs (`>&-`) ones that lead nowhere.

    Else the next file that it opens, such as a record, takes their numbers, and words go into it.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest number that is free: this one
        if getattr(sys, name) is None:
            mode = "r" if number == 0 else "w"
            setattr(sys, name, open(number, mode, encoding="utf-8", closefd=False))  # noqa: SIM115  # as Python itself does


def _end_at_once(number: int, frame: FrameType | None) -> NoReturn:
    """End a program whose modules are half loaded, and have nothing to put in order."""
    del number, frame
    resuming = sys.argv[1:2] == ["resume"]
    os.write(2, b"Interrupted.%b\n" % (MAY_BE_ENERGISED if resuming else b""))
    os._exit(INTERRUPTED)


def _say_and_raise(number: int, frame: FrameType | None) -> NoReturn:
    """Say so, and end what is being done; what energises a bench takes the signals over."""
    del number, frame
    say_last("Interrupted.", limit_s=SAID_S)  # a terminal that stands still may be why
    raise KeyboardInterrupt
