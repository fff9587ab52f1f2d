"""What the guardian does when it is needed: make safe until that is verified, and tell of it."""

import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from itertools import chain, count, repeat
from pathlib import Path
from select import POLLERR, poll
from typing import Literal

from sequencer.errors import Exit, SteadyrailError
from sequencer.record.write import RecordWriter, utc_now
from sequencer.run.bench_lock import BenchLock
from sequencer.run.event_kinds import GUARDIAN, MAKE_SAFE, STOPPED
from sequencer.run.safe_job import SafeJob, carry_out
from sequencer.run.safe_report import LAST_RESORT, SafeReport

PAUSES_S = (0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0)
"""Waits between the tries; the last one again and again."""

SILENT_S = 600.0
"""Ten minutes in which not one instrument answers: the bench has no power, or is not there. What a
restart takes is over by then."""

LONGEST_S = 12 * 3600.0
"""A night: whoever should come has come by then, and reads in the record what was tried."""

LEAST_TRIES = 5
"""So often it is tried, however long one try takes."""

NOTE_SUFFIX = ".guardian.txt"
SHOW_CURSOR = "\x1b[?25h"
"""ECMA-48 private mode: a progress bar that was killed has hidden it."""


def rescue(
    job: SafeJob,
    reason: str,
    keeps: Sequence[int],
    *,
    silent_s: float = SILENT_S,
    longest_s: float = LONGEST_S,
) -> int:
    """Make the bench safe, with growing pauses until it is verified; return an exit code.

    `keeps` are the run's locks, and the pipe that keeps a simulated bench alive. It gives up, loud
    and NOT VERIFIED, with a simulated bench that has ended, after `silent_s` in which nothing of
    the bench answered, and after `longest_s` altogether.
    """
    pauses_s = chain(PAUSES_S, repeat(PAUSES_S[-1]))
    began = answered = time.monotonic()
    for number in count(1):
        report = carry_out(job, aloud=lambda text: tell(job, f"GUARDIAN: {text}"), prompt=Quiet())
        if number == 1:  # no sooner: a terminal that stands still holds whoever talks to it
            tell(job, f"GUARDIAN: {reason}.")
        tell(job, f"GUARDIAN: {report}")
        if number == 1 or report.verified:
            _record(job, reason, report, first=number == 1)
        if report.verified:
            if job.record and Path(job.record).exists():
                tell(job, f"GUARDIAN: what was read is kept. Go on: steadyrail resume {job.record}")
            BenchLock(_locks(keeps), ()).release(safe=True)
            return Exit.PASSED
        now = time.monotonic()
        answered = now if report.reached else answered
        why = ""
        if _simulation_gone(keeps):
            why = "the simulated bench has ended"
        elif number >= LEAST_TRIES and now - answered >= silent_s:
            why = f"nothing of the bench has answered for {now - answered:.0f} s"
        elif now - began >= longest_s:
            why = f"it could not be verified within {now - began:.0f} s"
        if why:
            gave_up = f"Given up after {number} tries, as {why}."
            tell(job, f"GUARDIAN: {gave_up} Making safe is NOT VERIFIED. {LAST_RESORT}")
            _record(job, reason, report, first=False, remark=gave_up)
            return Exit.INSTRUMENT
        poll().poll(min(next(pauses_s), silent_s) * 1000)
    raise AssertionError  # mypy: counting never ends


class Quiet:
    """A prompt that passes on what is written, and minds no terminal that is gone."""

    def write(self, text: str) -> int:
        """Write to standard error if that is still there."""
        with suppress(OSError):
            sys.stderr.write(text)
        return len(text)

    def flush(self) -> None:
        """Bring it out."""
        with suppress(OSError):
            sys.stderr.flush()

    def isatty(self) -> bool:
        """Nobody watches a live reading here."""
        return False


def tell(job: SafeJob, text: str) -> None:
    """Say something in a file beside the record, then on the terminal, which may stand still."""
    if job.record:
        with suppress(OSError), Path(job.record + NOTE_SUFFIX).open("a", encoding="utf-8") as note:
            note.write(f"{utc_now()} {text}\n")
    out = Quiet()
    out.write(f"{SHOW_CURSOR if sys.stderr.isatty() else ''}\n\a{text}\n")
    out.flush()


def _record(
    job: SafeJob, reason: str, report: SafeReport, *, first: bool, remark: str = ""
) -> None:
    """Append what was done to the record; a record that can't be written stops nothing."""
    if not job.record or not Path(job.record).exists():
        return
    at = float("nan")  # nobody's clock is asked for it
    try:
        with RecordWriter.reopen(Path(job.record)) as writer:
            if first:
                text = f"The guardian had to act: {reason}."
                writer.event(at, GUARDIAN, "alarm", text)
                writer.event(at, STOPPED, "alarm", text, {"exit": int(Exit.INSTRUMENT)})
            severity: Literal["note", "alarm"] = "note" if report.verified else "alarm"
            told = {"verified": int(report.verified), "by": "guardian"}
            writer.event(
                at,
                MAKE_SAFE,
                severity,
                " ".join(filter(None, ("By the guardian:", remark, str(report)))),
                told,
            )
    except SteadyrailError as error:
        tell(job, f"GUARDIAN: the record could not be written: {error}")


def _locks(keeps: Sequence[int]) -> tuple[int, ...]:
    return tuple(handle for handle in keeps if _is_file(handle))


def _is_file(handle: int) -> bool:
    return Path(f"/proc/self/fd/{handle}").readlink().suffix == ".lock"


def _simulation_gone(keeps: Sequence[int]) -> bool:
    """Return whether the simulated bench, at the other end of a pipe, has ended."""
    for handle in keeps:
        if not _is_file(handle):
            waiting = poll()
            waiting.register(handle, POLLERR)
            return bool(waiting.poll(0))
    return False
