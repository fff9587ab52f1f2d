"""`steadyrail resume`: go on with the run of a record after a crash, a reboot or a power cut."""

import sys
from dataclasses import replace
from datetime import UTC, datetime
from math import isnan
from pathlib import Path

from rich.console import Console

from sequencer.command_line.on_bench import finish, loudly, notify_end, perform_on
from sequencer.command_line.paths import REPORT_SUFFIX, unused
from sequencer.command_line.run import tell_cautions, write_outputs
from sequencer.documents.load import Documents, documents_from
from sequencer.documents.source import Source
from sequencer.errors import RecordError, UsageError
from sequencer.order import order_of
from sequencer.outputs.json_object import json_text
from sequencer.outputs.terminal import print_result
from sequencer.planning import make_plan
from sequencer.record.files import refuse_finished
from sequencer.record.read import RecordReader
from sequencer.record.seal import verify
from sequencer.record.write import RecordWriter
from sequencer.run.away import bench_time_now, stamp
from sequencer.run.bench_events import BenchEvents
from sequencer.run.event_kinds import MAKE_SAFE
from sequencer.run.opened import opened
from sequencer.run.past import RESTORING, Past
from sequencer.run.rest import rest_of
from sequencer.run.stop import Stop
from sequencer.versions import versions

KINDS = ("unit", "bench", "profile")


def run(record: Path, *, cautions_read: bool, as_json: bool) -> int:
    """Go on with a run and return the exit code."""
    console = Console(stderr=True)
    with RecordReader.open(record) as reader:
        refuse_finished(record)
        found = verify(record)
        if found.altered:
            raise RecordError(
                f"{record} was tampered with: {' '.join(found.remarks[1:])} What it holds can't be "
                "gone on with. Nothing was energised. Start a new run."
            )
        documents = _documents(reader)
        bench_time_s = bench_time_now(
            reader.started, reader.options, reader.last_time, datetime.now(UTC)
        )
        gap_known = bool(documents.bench.instruments_of("time_base")) or not isnan(bench_time_s)
        bench_time_s = (
            reader.last_time if isnan(bench_time_s) else max(reader.last_time, bench_time_s)
        )
        past = _past(reader, documents, gap_known=gap_known)
        identities = dict(reader.identities)
        changed = {n: v for n, v in versions().items() if reader.versions.get(n, v) != v}
    tell_cautions(documents, console, cautions_read=cautions_read)
    plan = make_plan(documents)
    events = BenchEvents()
    with Stop(lambda: console.print("Stopping: making the bench safe …", style="bold")) as stop:
        with opened(
            documents, record, events, bench_time_s=bench_time_s, aloud=loudly(console)
        ) as table:
            for name, answer in table.bench.identities().items():
                before = identities.get(name, answer)
                if before != answer:
                    table.lock.release(safe=not table.lock.left_behind)
                    raise UsageError(
                        f"Another instrument than in the record answers as {name}: {answer!r}, "
                        f"then {before!r}. Nothing was energised. Put the first one back, or "
                        "start a new run."
                    )
            for name, version in changed.items():
                events("other software", f"{name} is {version} now, not as at the start.")
            writer = RecordWriter.reopen(record)
            writer.options(stamp(bench_time_s))
            perform_on(documents, plan, table, writer, events, console, stop, past)
        result = finish(record)
    if as_json:
        sys.stdout.write(json_text(result) + "\n")
        sys.stdout.flush()
    page = unused(record.with_suffix(REPORT_SUFFIX)) if documents.profile.outputs.report else None
    missing = write_outputs(result, page, None, record)
    notify_end(documents, result, console)
    print_result(
        replace(result, notes=(*result.notes, *missing)),
        console if as_json else Console(),
        report=None if missing else page,
    )
    return result.exit


def _documents(reader: RecordReader) -> Documents:
    """Return the record's documents; those on disk must not have changed."""
    found = reader.documents
    lacking = [kind for kind in KINDS if kind not in found]
    if lacking:
        raise RecordError(f"{reader.path} holds no {', '.join(lacking)} document: it is damaged.")
    for kind in KINDS:
        path, text = found[kind]
        try:
            now = Path(path).read_text(encoding="utf-8")
        except (OSError, ValueError):
            continue  # moved away: the record's own copy is what counts
        if now != text:
            raise UsageError(
                f"The {kind} document {path} was changed since the run began, so its readings "
                "can't be continued. Nothing was energised. Bring it back, or start a new run."
            )
    documents = documents_from(*(Source(*found[kind]) for kind in KINDS))
    simulation = documents.bench.simulation
    if simulation is None:
        return documents
    options = {k: v for k, v in reader.options.items() if k in type(simulation).model_fields}
    bench = documents.bench.model_copy(update={"simulation": simulation.model_copy(update=options)})
    return replace(documents, bench=bench)


def _past(reader: RecordReader, documents: Documents, *, gap_known: bool) -> Past:
    """Return what the record holds, after a look whether the procedures still ask the same."""
    steps = []
    for turn in sorted(order_of(documents).turns, key=lambda turn: turn.number):
        number, trial, settings = turn.number, turn.trial, turn.settings
        found = reader.steps(number)
        known = {one.index: one for one in reader.trials}.get(number)
        if known is not None and (known.name, known.settings_json) != (
            trial.name,
            settings.model_dump_json(),
        ):
            raise UsageError(
                f"The record's trial {number + 1} is {known.name} with other settings than "
                f"{trial.name} has now: the program or the documents changed. Start a new run."
            )
        if found:
            rest_of(trial, settings, turn.context, found)
        steps.append(found)
    return Past(
        steps,
        documents.profile.resume,
        last_time_s=reader.last_time,
        last_request=reader.last_request,
        restored=sum(one.index >= RESTORING for one in reader.trials),
        line_off="line" in documents.bench.bench.make_safe,
        made_safe=any(event.kind == MAKE_SAFE for event in reader.events),
        gap_known=gap_known,
    )
