"""`steadyrail resume`: go on with the run of a record after a crash, a reboot or a power cut."""

import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from rich.console import Console

from sequencer.command_line.on_bench import finish, loudly, notify_end, perform_on
from sequencer.command_line.paths import REPORT_SUFFIX, unused
from sequencer.command_line.read_back import Kept, read_back
from sequencer.command_line.run import tell_cautions, write_outputs
from sequencer.command_line.steady import messages, results, tell_program
from sequencer.errors import SteadyrailError, UsageError
from sequencer.outputs.json_object import json_text
from sequencer.outputs.terminal import print_result
from sequencer.planning import make_plan
from sequencer.record.write import RecordWriter
from sequencer.run.away import stamp
from sequencer.run.bench_events import BenchEvents
from sequencer.run.bench_lock import lock_bench
from sequencer.run.opened import Opened, opened
from sequencer.run.refused import made_safe_first, stranger_words, strangers, without
from sequencer.run.safe_job_of import safe_job_of
from sequencer.run.stop import Stop


def run(record: Path, *, cautions_read: bool, as_json: bool) -> int:
    """Go on with a run and return the exit code."""
    console = messages()
    kept = read_back(record)
    documents, past = kept.documents, kept.past
    if kept.refusal is not None or past is None:
        raise _refused(kept, record, console) from kept.refusal
    try:
        tell_cautions(documents, console, cautions_read=cautions_read)
    except UsageError as refusal:
        hint = f" The run may have left its bench energised: steadyrail make-safe {record}"
        raise UsageError(f"{refusal}{hint if kept.energised else ''}") from refusal
    plan = make_plan(documents)
    events = BenchEvents()
    with Stop(lambda: console.print("Stopping: making the bench safe …", style="bold")) as stop:
        with opened(
            documents,
            record,
            events,
            bench_time_s=kept.bench_time_s,
            identities=kept.identities,
            aloud=loudly(console),
        ) as table:
            if others := strangers(kept.identities, table.bench.identities()):
                raise _not_the_same(others, table, record, console, energised=kept.energised)
            for name, version in kept.changed.items():
                events("other software", f"{name} is {version} now, not as at the start.")
            writer = RecordWriter.reopen(record)
            writer.options(stamp(kept.bench_time_s))
            perform_on(documents, plan, table, writer, events, console, stop, past)
        result = finish(record)
    if as_json:
        tell_program(json_text(result))
    page = unused(record.with_suffix(REPORT_SUFFIX)) if documents.profile.outputs.report else None
    missing = write_outputs(result, page, None, record)
    notify_end(documents, result, console)
    print_result(
        replace(result, notes=(*result.notes, *missing)),
        console if as_json else results(),
        report=None if missing else page,
    )
    return result.exit


def _refused(kept: Kept, record: Path, console: Console) -> SteadyrailError:
    """Return the refusal, after the bench was made safe where it may be energised."""
    refusal = kept.refusal or UsageError("The record can't be gone on with.")
    if not kept.energised or kept.documents.bench.simulation is not None:
        return refusal
    job = safe_job_of(kept.documents.bench, record).knowing(kept.identities)
    with Stop(lambda: console.print("Ctrl-C doesn't stop this: the bench is being made safe.")):
        try:
            lock = lock_bench(job)
        except UsageError as in_use:
            return UsageError(f"{refusal} {in_use}")
        error, report = made_safe_first(refusal, job, record, loudly(console), sys.stderr)
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
        table.lock.release(safe=not table.lock.left_behind)
        return UsageError(f"{refusal} Nothing was energised.")
    table.bench.close()  # an instrument may take one connection only
    job = without(table.job, others)
    error, report = made_safe_first(
        refusal, job, record, loudly(console), sys.stderr, table.guardian.progress
    )
    table.lock.release(safe=report.verified)
    return error
