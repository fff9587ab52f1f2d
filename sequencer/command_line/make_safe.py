"""`steadyrail make-safe`: bring a bench to the state without energy, with no questions asked."""

import json
import os
import signal
import sys
from contextlib import suppress
from pathlib import Path
from select import poll

from sequencer.errors import Exit, UsageError
from sequencer.record.files import MAGIC
from sequencer.run.bench_lock import Owner, is_held, owners, owners_of
from sequencer.run.safe_job import SafeJob, carry_out
from sequencer.run.stop import Stop

RUN_S = 10.0
"""A run that is asked to stop makes safe itself; so long it is left to that."""

GUARDIAN_S = 15.0
"""Then it is ended, and its guardian makes safe; so long it is left to that."""

LOOK_S = 0.1


def run(bench: str | None, *, as_json: bool) -> int:
    """Make a bench safe and return the exit code: 0 verified, 5 not."""
    with Stop(lambda: _say("Ctrl-C doesn't stop this: the bench is being made safe.")):
        job = _locked_job() if bench is None else _job(bench)
        _end_runs(job)
        report = carry_out(job, aloud=lambda text: _say(f"\a>> {text}"), prompt=sys.stderr)
    if as_json:
        steps = [
            {"what": s.what, "verified": s.verified, "detail": s.detail, "remedy": s.remedy}
            for s in report.steps
        ]
        sys.stdout.write(json.dumps({"verified": report.verified, "steps": steps}) + "\n")
    else:
        sys.stdout.write(f"{report}\n")
    return Exit.PASSED if report.verified else Exit.INSTRUMENT


def _say(text: str) -> None:
    with suppress(OSError):
        sys.stderr.write(f"{text}\n")
        sys.stderr.flush()


def _locked_job() -> SafeJob:
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
        raise UsageError(
            f"{what} the one to be made safe: steadyrail make-safe BENCH, where BENCH is a "
            "shipped name, a bench document or a record."
        )
    _say(f"Making safe the bench of {next(iter(jobs.values()))}.")
    return SafeJob.from_json(next(iter(jobs)))


def _job(name: str) -> SafeJob:
    from sequencer.documents.bench import BenchDocument  # noqa: PLC0415  # a lock needs none of it
    from sequencer.documents.load import locate, read_document  # noqa: PLC0415
    from sequencer.documents.source import Source  # noqa: PLC0415
    from sequencer.record.read import RecordReader  # noqa: PLC0415
    from sequencer.run.safe_job_of import safe_job_of  # noqa: PLC0415

    path = Path(name)
    if path.is_file() and path.read_bytes()[: len(MAGIC)] == MAGIC:
        with RecordReader.open(path) as reader:
            source = Source(*reader.documents["bench"])
    else:
        source = locate("bench", name)
    document = read_document(source, "bench")
    if not isinstance(document, BenchDocument):
        raise TypeError("a bench was asked for")
    if document.simulation is not None:
        raise UsageError(
            f"{source.path} is a simulated bench that each run starts and ends itself: there is "
            "nothing to be made safe. One that runs apart is named simulated-apart."
        )
    return safe_job_of(document)


def _end_runs(job: SafeJob) -> None:
    """Ask a run that uses the bench to stop; end it if it doesn't, so that instruments are free."""
    for owner, held in owners_of(job):
        if not held:
            _say(f"Left by a dead run: {owner}.")
            continue
        if owner.alive:
            _say(f"Stopping {owner} …")
            _signal(owner, signal.SIGTERM)
            if _free(job, RUN_S):
                continue
            _signal(owner, signal.SIGKILL)
        _say("Waiting for its guardian …")
        _free(job, GUARDIAN_S)


def _signal(owner: Owner, number: signal.Signals) -> None:
    try:
        os.kill(owner.pid, number)
    except ProcessLookupError:
        return
    except PermissionError:
        _say(f"You may not stop {owner}; its instruments may refuse a second connection.")


def _free(job: SafeJob, limit_s: float) -> bool:
    """Wait until no process holds the bench any more; return whether that came."""
    left_s = limit_s
    while any(is_held(address) for address in job.addresses):
        if left_s <= 0:
            return False
        poll().poll(LOOK_S * 1000)
        left_s -= LOOK_S
    return True
