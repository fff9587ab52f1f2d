"""`steadyrail resume`: go on with the run of a record after a crash, a reboot or a power cut."""

from collections.abc import Mapping
from pathlib import Path

from rich.console import Console

from sequencer.command_line.left_alone import told
from sequencer.command_line.on_bench import (
    ENDING,
    STOPPING,
    conclude,
    finish,
    loudly,
    perform_on,
    tell_result,
)
from sequencer.command_line.paths import REPORT_SUFFIX, unused
from sequencer.command_line.read_back import BY_HAND, EndedByGuard, Kept, read_back
from sequencer.command_line.run import tell_cautions
from sequencer.command_line.steady import messages
from sequencer.documents.calibration_days import today
from sequencer.errors import ComputerFailed, RecordError, RecordSealed, SteadyrailError, UsageError
from sequencer.planning import make_plan
from sequencer.record.write import RecordWriter
from sequencer.run.away import stamp
from sequencer.run.bench_events import BenchEvents
from sequencer.run.bench_lock import job_left_for, left_by_the_dead, lock_bench
from sequencer.run.opened import Opened, opened
from sequencer.run.refused import made_safe_first, stranger_words, strangers, without
from sequencer.run.safe_job import SafeJob
from sequencer.run.safe_job_of import safe_job_of
from sequencer.run.stop import Stop


def run(record: Path, *, cautions_read: bool, as_json: bool) -> int:
    """Go on with a run and return the exit code."""
    with messages() as console:
        return _resume(record, console, cautions_read=cautions_read, as_json=as_json)


def _resume(record: Path, console: Console, *, cautions_read: bool, as_json: bool) -> int:
    kept = _kept(record, console)
    documents = kept.documents
    try:
        tell_cautions(documents, console, cautions_read=cautions_read)
    except UsageError as refusal:
        hint = f" The run may have left its bench energised: steadyrail make-safe {record}"
        raise UsageError(f"{refusal}{hint if _may_be_energised(kept, record) else ''}") from refusal
    with Stop(lambda: console.print(ENDING, style="bold")):
        with told(documents), Stop(lambda: console.print(STOPPING, style="bold")) as stop:
            while not _went_on(kept, record, console, stop):
                kept = _kept(record, console)
        wanted = documents.profile.outputs.report
        page = unused(record.with_suffix(REPORT_SUFFIX)) if wanted else None
        with told(documents):
            result = finish(record, documents)
        result, shown = conclude(documents, result, page, None, record, console)
    return tell_result(result, shown, console, as_json=as_json)


def _kept(record: Path, console: Console) -> Kept:
    """Return what a record keeps, or refuse, after its bench was made safe where need be."""
    try:
        kept = read_back(record)
    except RecordError as refusal:
        raise _unread(refusal, record, console) from refusal
    if kept.refusal is not None or kept.past is None:
        with told(kept.documents):
            raise _refused(kept, record, console) from kept.refusal
    return kept


def _went_on(kept: Kept, record: Path, console: Console, stop: Stop) -> bool:
    """Go on with the run; False where somebody wrote to the record since it was read.

    That is its run, or its guardian: only who holds bench and record knows where they stand.
    """
    documents = kept.documents
    events = BenchEvents()
    with opened(
        documents,
        record,
        events,
        bench_time_s=kept.bench_time_s,
        identities=kept.identities,
        aloud=loudly(console),
        prompt=console.file,
    ) as table:
        # Of what happened since the record was read the locks tell as well.
        energised = kept.energised or bool(table.lock.left_behind)
        if others := strangers(kept.identities, table.bench.identities()):
            raise _not_the_same(others, table, record, console, energised=energised)
        try:
            writer = RecordWriter.reopen(record)
        except RecordError as refusal:
            raise _not_written(refusal, table, console, energised=energised) from refusal
        if writer.head != kept.head:
            writer.close(ended=False)
            return False
        for name, version in kept.changed.items():
            events("other software", f"{name} is {version} now, not as at the start.")
        writer.options(stamp(kept.bench_time_s))
        plan = make_plan(documents, today())
        perform_on(documents, plan, table, writer, events, console, stop, kept.past)
    return True


def _unread(refusal: RecordError, record: Path, console: Console) -> SteadyrailError:
    """Return the refusal of a record that can't be used; its bench is known from its lock at most.

    The lock of a run that died keeps what making its bench safe needs until that is proven.
    """
    if (job := job_left_for(record)) is not None:
        return _made_safe(refusal, job, None, console)
    return refusal if isinstance(refusal, RecordSealed) else RecordError(f"{refusal} {BY_HAND}")


def _refused(kept: Kept, record: Path, console: Console) -> SteadyrailError:
    """Return the refusal, after the bench was made safe where it may be energised."""
    refusal = kept.refusal or UsageError("The record can't be gone on with.")
    if _may_be_energised(kept, record):
        job = safe_job_of(kept.documents.bench, record).knowing(kept.identities)
        return _made_safe(refusal, job, record, console)
    if isinstance(refusal, EndedByGuard):
        finish(record, kept.documents)  # whoever should have done so was gone
    return refusal


def _may_be_energised(kept: Kept, record: Path) -> bool:
    """Return whether the bench may carry energy, by the record or by what its locks tell.

    A record without its newest rows, as after its side file was lost, may not know.
    """
    bench = kept.documents.bench
    if bench.simulation is not None:
        return False
    return kept.energised or bool(left_by_the_dead(safe_job_of(bench, record)))


def _made_safe(
    refusal: SteadyrailError, job: SafeJob, record: Path | None, console: Console
) -> SteadyrailError:
    with Stop(lambda: console.print("Ctrl-C doesn't stop this: the bench is being made safe.")):
        try:
            lock = lock_bench(job)
        except UsageError as in_use:
            return UsageError(f"{refusal} {in_use}")
        except ComputerFailed as failed:
            return ComputerFailed(f"{refusal} {failed}")
        error, report = made_safe_first(refusal, job, record, loudly(console), console.file)
        lock.release(safe=report.verified)
        return error


def _not_the_same(
    others: Mapping[str, tuple[str, str]],
    table: Opened,
    record: Path,
    console: Console,
    *,
    energised: bool,
) -> SteadyrailError:
    """Return the refusal; first what is no stranger is made safe where it may be energised."""
    text = " ".join(stranger_words(table.job, name, *both) for name, both in others.items())
    refusal = UsageError(f"{text} Put back what was there, or start a new run.")
    if not energised:
        return UsageError(f"{refusal} Nothing was energised.")
    return _safe_first(refusal, without(table.job, others), table, record, console)


def _not_written(
    refusal: RecordError, table: Opened, console: Console, *, energised: bool
) -> SteadyrailError:
    """Return the refusal of a record that can't be written, after its bench was made safe."""
    if not energised or table.own:
        return refusal
    return _safe_first(refusal, table.job, table, None, console)


def _safe_first(
    refusal: SteadyrailError, job: SafeJob, table: Opened, record: Path | None, console: Console
) -> SteadyrailError:
    table.bench.close()  # an instrument may take one connection only
    table.began = True
    error, table.safe = made_safe_first(
        refusal, job, record, loudly(console), console.file, table.guardian.progress
    )
    return error
