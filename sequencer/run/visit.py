"""Locks for looking in on instruments: held while it lasts, without a name in them.

Whoever only asks or exercises must neither disturb a run nor wipe out the name of a dead one, which
says that its bench was not shown to be safe.
"""

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from sequencer.errors import UsageError
from sequencer.run.bench_lock import FOLDER_VARIABLE, lock_file, opened, take


@contextmanager
def visiting(addresses: Iterable[str]) -> Iterator[None]:
    """Hold the locks of some addresses.

    Raises
    ------
    UsageError
        When another process has one of them, with its owner's name, or none can be made.
    """
    handles: list[int] = []
    try:
        for address in dict.fromkeys(addresses):
            try:
                handles.append(handle := opened(lock_file(address)))
            except OSError as error:
                raise UsageError(
                    f"The lock of {address} can't be looked at: {error.strerror or error} "
                    f"({error.filename}). Name another folder for locks in {FOLDER_VARIABLE}. "
                    "Nothing was asked."
                ) from error
            take(handle, address, 0.0)
        yield
    finally:
        for handle in handles:
            os.close(handle)
