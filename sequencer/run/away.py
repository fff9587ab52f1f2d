"""What the computer's clocks tell about the time between a crash and going on with the run.

Two of them do: wall time, which anybody can set, also over a crash, and the time since the computer
was started, which nobody can, but which tells nothing over a reboot. The later of both counts: a
gap taken for too long costs a warm-up, one taken for too short makes figures of what nobody saw.
"""

import time
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
BOOT, SINCE_BOOT = "boot", "boot_time_s"
"""Names in the record's options: which start of the computer, and how far it was when bench time
was zero."""

SET_BACK_S = 1.0
"""Wall time that was disciplined, not set, differs by less."""


def stamp(bench_time_s: float = 0.0) -> Mapping[str, object]:
    """Return what is kept in the record, at bench time `bench_time_s`."""
    return {BOOT: _boot(), SINCE_BOOT: _since_boot() - bench_time_s}


def bench_time_now(
    started: str, options: Mapping[str, object], last_time_s: float, now: datetime
) -> float:
    """Return bench time now (s), NaN where no clock tells it.

    Parameters
    ----------
    started
        Wall time at bench time zero, ISO 8601.
    options
        The record's, with a `stamp` among them unless it is of an older version.
    last_time_s
        Bench time of the record's last entry: now can't be before it.
    now
        Wall time.
    """
    told = [(now - datetime.fromisoformat(started)).total_seconds()]
    since_boot = options.get(SINCE_BOOT)
    if isinstance(since_boot, float) and options.get(BOOT) == _boot() != "":
        told.append(_since_boot() - since_boot)
    latest = max(told)
    return latest if latest >= last_time_s - SET_BACK_S else float("nan")


def _boot() -> str:
    try:
        return BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return ""


def _since_boot() -> float:
    clock = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)  # Linux has the former
    return time.clock_gettime(clock)
