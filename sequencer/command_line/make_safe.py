"""`steadyrail make-safe`: bring a bench to the state without energy, with no questions asked."""

import json
import os
import signal
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from select import poll
from typing import TYPE_CHECKING

from sequencer.errors import ComputerFailed, Exit, RecordError, UsageError
from sequencer.record.files import MAGIC
from sequencer.run.bench_lock import (
    Owner,
    is_held,
    job_left_for,
    lock_bench,
    owners,
    owners_of,
    unreadable,
)
from sequencer.run.safe_job import SafeJob, carry_out
from sequencer.run.safe_report import SafeReport
from sequencer.run.stop import Stop
from sequencer.steady import Aside, tell_program

if TYPE_CHECKING:
    from sequencer.documents.bench import BenchDocument
    from sequencer.documents.source import Source

NAME_IT = (
    "the one to be made safe: steadyrail make-safe BENCH, where BENCH is a shipped name, a bench "
    "document or a record."
)

RUN_S = 10.0
"""A run that is asked to stop makes safe itself; so long it is left to that."""

GUARDIAN_S = 15.0
"""Then it is ended, and its guardian makes safe; so long it is left to that."""

LOOK_S = 0.1


def run(bench: str | None, *, as_json: bool) -> int:
    """Make a bench safe and return the exit code: 0 verified, 5 not."""
    out = Aside(sys.stderr)

    def say(text: str) -> None:
        out.write(f"{text}\n")

    with Stop(lambda: say("Ctrl-C doesn't stop this: the bench is being made safe.")):
        job = _locked_job(say) if bench is None else _job(bench, say)
        _end_runs(job, say)
        dead = tuple(owner for owner, _ in owners_of(job) if owner.record and not owner.alive)
        report = carry_out(job, aloud=lambda text: say(f"\a>> {text}"), prompt=out)
        for record in {owner.record for owner in dead}:
            _write_down(Path(record), report, say)
        if report.verified:
            _forget_owners(job)
    if as_json:
        steps = [
            {"what": s.what, "verified": s.verified, "detail": s.detail, "remedy": s.remedy}
            for s in report.steps
        ]
        text = json.dumps({"verified": report.verified, "steps": steps})
    else:
        text = str(report)
    if hindered := tell_program(text):
        say(f"Standard output can't be written ({hindered}). {report}")
    out.drain()
    return Exit.PASSED if report.verified else Exit.INSTRUMENT


def _write_down(record: Path, report: SafeReport, say: Callable[[str], None]) -> None:
    """Tell a dead run's record, so that its resume knows; whether that works changes nothing."""
    from sequencer.run.refused import (  # noqa: PLC0415  # first the bench, then what needs loading
        MAKE_SAFE_COMMAND,
        write_down,
    )

    if failure := write_down(record, report, MAKE_SAFE_COMMAND):
        say(f"The record does not know of this: {failure}")


def _forget_owners(job: SafeJob) -> None:
    """Take the names of dead runs out of the locks; another process that has one keeps its own."""
    if any(owners_of(job)):
        with suppress(UsageError, ComputerFailed):
            lock_bench(job, wait_s=0.0).release(safe=True)


def _locked_job(say: Callable[[str], None]) -> SafeJob:
    """Return the job of the only bench that is in use, or was left by a dead run."""
    found = owners()
    jobs = {owner.job: owner for owner in found}
    if len(jobs) != 1:
        listed = "".join(f"\n  {owner}" for owner in found)
        what = (
            f"{len(jobs)} benches are in use or were left by dead runs:{listed}\nName"
            if jobs
            else "No run uses a bench, and no dead one left any: name"
        )
        strange = ", ".join(map(str, unreadable()))
        more = f" These locks can't be read, and may be of a bench as well: {strange}."
        raise UsageError(f"{what} {NAME_IT}{more if strange else ''}")
    (owner,) = jobs.values()
    job = owner.safe_job
    if job is None:
        raise UsageError(
            f"Another version of the program left a bench: {owner}. What it noted of it can't be "
            f"read here, so name {NAME_IT}"
        )
    say(f"Making safe the bench of {owner}.")
    return job


def _job(name: str, say: Callable[[str], None]) -> SafeJob:
    from sequencer.documents.load import locate  # noqa: PLC0415  # a lock needs none of it
    from sequencer.run.safe_job_of import safe_job_of  # noqa: PLC0415

    path = Path(name)
    left = job_left_for(path)
    if left is not None:
        say(f"Making safe the bench that the run of {name} was given.")
        return left
    if path.is_file() and path.read_bytes()[: len(MAGIC)] == MAGIC:
        source, identities = _recorded(path)
    else:
        source, identities = locate("bench", name), {}
    return safe_job_of(_document(source)).knowing(identities)


def _recorded(path: Path) -> tuple["Source", Mapping[str, str]]:
    """Return a record's bench document and what its instruments answered to *IDN?.

    Raises
    ------
    RecordError
        When it can't be read, or was altered: its bench document can't be trusted then.
    """
    from sequencer.documents.source import Source  # noqa: PLC0415
    from sequencer.record.read import RecordReader  # noqa: PLC0415
    from sequencer.record.seal import verify  # noqa: PLC0415

    try:
        with RecordReader.open(path) as reader:
            source, identities = Source(*reader.documents["bench"]), dict(reader.identities)
        found = verify(path)
        why = f"{path} was tampered with: {' '.join(found.remarks[1:])}" if found.altered else ""
    except (RecordError, KeyError) as error:
        why = str(error)
    if why:
        raise RecordError(
            f"{why} Nothing was sent to its bench, which may still be energised. Name {NAME_IT}"
        )
    return source, identities


def _document(source: "Source") -> "BenchDocument":
    from sequencer.documents.bench import BenchDocument  # noqa: PLC0415
    from sequencer.documents.load import read_document  # noqa: PLC0415

    document = read_document(source, "bench")
    if not isinstance(document, BenchDocument):
        raise TypeError("a bench was asked for")
    if document.simulation is not None:
        raise UsageError(
            f"{source.path} is a simulated bench that each run starts and ends itself: there is "
            "nothing to be made safe. One that runs apart is named simulated-apart."
        )
    return document


def _end_runs(job: SafeJob, say: Callable[[str], None]) -> None:
    """Ask a run that uses the bench to stop; end it if it doesn't, so that instruments are free."""
    for owner, held in owners_of(job):
        if not held:
            say(f"Left by a dead run: {owner}.")
            continue
        if owner.alive:
            say(f"Stopping {owner} …")
            _signal(owner, signal.SIGTERM, say)
            if _free(job, RUN_S):
                continue
            _signal(owner, signal.SIGKILL, say)
        say("Waiting for its guardian …")
        _free(job, GUARDIAN_S)


def _signal(owner: Owner, number: signal.Signals, say: Callable[[str], None]) -> None:
    try:
        os.kill(owner.pid, number)
    except ProcessLookupError:
        return
    except PermissionError:
        say(f"You may not stop {owner}; its instruments may refuse a second connection.")


def _free(job: SafeJob, limit_s: float) -> bool:
    """Wait until no process holds the bench any more; return whether that came."""
    left_s = limit_s
    while any(is_held(address) for address in job.addresses):
        if left_s <= 0:
            return False
        poll().poll(LOOK_S * 1000)
        left_s -= LOOK_S
    return True
