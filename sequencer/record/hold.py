"""One writer per record: who writes holds the file, and a second one is refused in words.

Held by `flock`, which the system drops with the process, and which SQLite's own locks don't see.
"""

import fcntl
import os
from pathlib import Path
from select import poll

from sequencer.errors import RecordError
from sequencer.record.files import BUSY_S

TRY_AGAIN_S = 0.05


def hold(path: Path) -> int:
    """Hold a record until the returned file is closed.

    It must be closed after SQLite's connection: closing any file drops the process's own locks on
    it (fcntl(2), POSIX record locks).

    Raises
    ------
    RecordError
        When another process writes it, for longer than a guardian needs for its words.
    """
    handle = os.open(path, os.O_RDONLY)
    left_s = BUSY_S
    while not _held(handle):
        if left_s <= 0:
            os.close(handle)
            raise RecordError(
                f"{path} is being written by another process: its run goes on, or its guardian is "
                "at work. Nothing was added to it. Wait for their end."
            )
        poll().poll(TRY_AGAIN_S * 1000)
        left_s -= TRY_AGAIN_S
    return handle


def _held(handle: int) -> bool:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:
        return True  # a file system that knows no such lock: SQLite's own must do
    return True
