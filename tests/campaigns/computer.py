"""Faults of the computer, which the simulated bench announces and can't bring about itself.

The wall clock is set, and the disk becomes full, at a bench time: in the process of the run, at the
first look at the bench's clock after that time.
"""

import resource
import signal
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest import mock

from drivers.clock import TimeBaseClock

SHIFT_S = 3600.0
HAPPENS = frozenset({"clock step", "disk full"})


@contextmanager
def at_bench_time(at: float, happen: Callable[[], None]) -> Iterator[list[float]]:
    """Call something once bench time has come; yields a list that then holds the time."""
    happened: list[float] = []
    real_now, real_sleep = TimeBaseClock.now, TimeBaseClock.sleep_until

    def look(now: float) -> float:
        if now >= at and not happened:
            happened.append(now)
            happen()
        return now

    def now(self: TimeBaseClock) -> float:
        return look(real_now(self))

    def sleep_until(self: TimeBaseClock, until: float) -> float:
        return look(real_sleep(self, until))

    with (
        mock.patch.object(TimeBaseClock, "now", now),
        mock.patch.object(TimeBaseClock, "sleep_until", sleep_until),
    ):
        yield happened


@contextmanager
def clock_step(at: float) -> Iterator[list[float]]:
    """Let the wall clock jump by an hour."""
    real, shift = time.time, [0.0]

    def stepped() -> float:
        return real() + shift[0]

    def happen() -> None:
        shift[0] = SHIFT_S

    with mock.patch.object(time, "time", stepped), at_bench_time(at, happen) as happened:
        yield happened


@contextmanager
def disk_full(at: float, record: Path) -> Iterator[list[float]]:
    """Let no file of this process grow beyond what the record's greatest has by then.

    The kernel's limit on file size stands in for a full disk: writes fail in the same places.
    """
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    was = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    def happen() -> None:
        files = record.parent.glob(record.name + "*")
        most = max((file.stat().st_size for file in files), default=0)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, before[1]))

    try:
        with at_bench_time(at, happen) as happened:
            yield happened
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, was)


@contextmanager
def faulty(what: tuple[str, float] | None, record: Path) -> Iterator[list[float]]:
    """Let one of these faults happen at its bench time; yields a list that then holds the time."""
    if what is None:
        yield []
    elif what[0] == "clock step":
        with clock_step(what[1]) as happened:
            yield happened
    else:
        with disk_full(what[1], record) as happened:
            yield happened
