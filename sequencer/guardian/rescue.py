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
from sequencer.run.notify import Notifier
from sequencer.run.safe_job import SafeJob, carry_out
from sequencer.run.safe_report import LAST_RESORT, SafeReport, SafeStep
from sequencer.steady import Aside

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
    notifier: Notifier | None = None,
    out: Aside | None = None,
    *,
    stopped: bool = True,
    silent_s: float = SILENT_S,
    longest_s: float = LONGEST_S,
) -> int:
    """Make the bench safe, with growing pauses until it is verified; return an exit code.

    `keeps` are the run's locks, and the pipe that keeps a simulated bench alive. It gives up, loud
    and NOT VERIFIED, with a simulated bench that has ended, after `silent_s` in which nothing of
    the bench answered, and after `longest_s` altogether. A bench whose locks another process holds
    by now is that one's: nothing is sent to it. `stopped` is whether `reason` is what ended the
    run; else the record says already what did.
    """
    lock = BenchLock(_locks(keeps), ())
    tale = _Tale(
        job, reason, notifier or Notifier("", ""), out or Quiet(sys.stderr), stopped=stopped
    )
    try:
        return _until_safe(job, lock, keeps, tale, silent_s, longest_s)
    finally:
        tale.end()


def _until_safe(
    job: SafeJob,
    lock: BenchLock,
    keeps: Sequence[int],
    tale: "_Tale",
    silent_s: float,
    longest_s: float,
) -> int:
    pauses_s = chain(PAUSES_S, repeat(PAUSES_S[-1]))
    began = answered = time.monotonic()
    for number in count(1):
        if not lock.is_ours():
            tale.say(f"{tale.reason}. Another process has the bench now: it is left to that one.")
            return Exit.INSTRUMENT
        report = _try(job, tale)
        if number == 1:
            tale.say(f"{tale.reason}.")
        tale.say(str(report))
        if report.verified:
            lock.release(safe=True)
        if number == 1 or report.verified:
            tale.record(report, first=number == 1)
            tale.notify(f"the guardian {'made safe' if report.verified else 'tries on'}", report)
        if report.verified:
            if tale.stopped and job.record and Path(job.record).exists():
                tale.say(f"what was read is kept. Go on: steadyrail resume {job.record}")
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
            tale.say(f"{gave_up} Making safe is NOT VERIFIED. {LAST_RESORT}")
            tale.record(report, first=False, remark=gave_up)
            tale.notify("the guardian gave up", report)
            return Exit.INSTRUMENT
        poll().poll(min(next(pauses_s), silent_s) * 1000)
    raise AssertionError  # mypy: counting never ends


def _try(job: SafeJob, tale: "_Tale") -> SafeReport:
    """Try once. Nothing ends it, not even a fault of the program: nobody else is left to try."""
    try:
        return carry_out(job, aloud=tale.say, prompt=tale.out)
    except Exception as error:  # noqa: BLE001
        found = f"{type(error).__name__}: {error}"
        return SafeReport((SafeStep("make safe", verified=False, detail=found),), reached=True)


class Quiet(Aside):
    """Words beside the work: a terminal that is gone, or stands still, holds up no try."""

    def isatty(self) -> bool:
        """Nobody watches a live reading here."""
        return False


class _Tale:
    """What is told of a rescue: on the terminal, beside the record and in it, and far away."""

    def __init__(
        self, job: SafeJob, reason: str, notifier: Notifier, out: Aside, *, stopped: bool
    ) -> None:
        self.reason = reason
        self.stopped = stopped
        self.out = out
        self._job = job
        self._notifier = notifier

    def notify(self, subject: str, report: SafeReport) -> None:
        """Tell a person who is elsewhere; waits for nothing."""
        self._notifier.tell(subject, f"{self.reason}.\n{report}")

    def end(self) -> None:
        """Wait a little for what is under way."""
        for failure in self._notifier.finish():
            self.say(f"not notified: {failure}")
        self.out.drain()

    def say(self, text: str) -> None:
        """Say something in the file, then on the terminal."""
        text = f"GUARDIAN: {text}"
        if self._job.record:
            path = Path(self._job.record + NOTE_SUFFIX)
            with suppress(OSError), path.open("a", encoding="utf-8") as note:
                note.write(f"{utc_now()} {text}\n")
        self.out.write(f"{SHOW_CURSOR if sys.stderr.isatty() else ''}\n\a{text}\n")

    def record(self, report: SafeReport, *, first: bool, remark: str = "") -> None:
        """Append what was done to the record; a record that can't be written stops nothing."""
        if not self._job.record or not Path(self._job.record).exists():
            return
        at = float("nan")  # nobody's clock is asked for it
        severity: Literal["note", "alarm"] = "note" if report.verified else "alarm"
        told = {"verified": int(report.verified), "by": "guardian"}
        words = " ".join(filter(None, ("By the guardian:", remark, str(report))))
        try:
            with RecordWriter.reopen(Path(self._job.record)) as writer:
                if first:
                    text = f"The guardian had to act: {self.reason}."
                    writer.event(at, GUARDIAN, "alarm", text)
                    if self.stopped:
                        writer.event(at, STOPPED, "alarm", text, {"exit": int(Exit.INSTRUMENT)})
                writer.event(at, MAKE_SAFE, severity, words, told)
        except SteadyrailError as error:
            self.say(f"the record could not be written: {error}")


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
