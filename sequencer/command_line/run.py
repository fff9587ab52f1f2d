"""`steadyrail run`: documents, bench, trials, verdicts, record and report."""

import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console

from drivers.connect import connect
from drivers.errors import InstrumentError
from drivers.roles import Bench
from sequencer.assemble import result_of
from sequencer.cautions import CAUTIONS
from sequencer.command_line.documents import load_checked, with_simulation
from sequencer.command_line.paths import REPORT_SUFFIX, free, record_path
from sequencer.command_line.progress import Progress
from sequencer.documents.load import Documents
from sequencer.errors import BenchFailed, SteadyrailError, UsageError
from sequencer.judging import planned_trials
from sequencer.outputs.files import write_text
from sequencer.outputs.json_object import json_text
from sequencer.outputs.terminal import print_result
from sequencer.planning import Plan, make_plan
from sequencer.record.read import RecordReader
from sequencer.record.write import RecordWriter
from sequencer.result import Result
from sequencer.run.bench_events import BenchEvents
from sequencer.run.safe_report import SafeReport
from sequencer.run.session import run_trials
from sequencer.run.simulation import simulation
from sequencer.run.spec import bench_spec
from sequencer.run.stop import Stop
from sequencer.versions import versions


def run(
    profile: str,
    *,
    unit: str | None,
    bench: str | None,
    record: Path | None,
    report: Path | None,
    scenario: str | None,
    seed: int | None,
    cautions_read: bool,
    as_json: bool,
) -> int:
    """Run a profile and return the exit code."""
    console = Console(stderr=True)
    documents = with_simulation(load_checked(profile, unit=unit, bench=bench), scenario, seed)
    target = free(
        record_path(record, documents.profile.profile.name, documents.unit.unit.tag, _now()),
        "record",
    )
    wants_report = documents.profile.outputs.report or report is not None
    page = free(report or target.with_suffix(REPORT_SUFFIX), "report") if wants_report else None
    table = target.with_suffix(".csv") if documents.profile.outputs.readings_csv else None
    if table is not None:
        free(table, "table of readings")
    if page is not None and page.resolve() == target.resolve():
        raise UsageError(f"Record and report can't both be {target}: give one another name.")
    plan = make_plan(documents)
    _tell_before(documents, plan, console, cautions_read=cautions_read)
    with Stop(lambda: console.print("Stopping: making the bench safe …", style="bold")) as stop:
        _carry_out(documents, plan, target, console, stop)
        result = result_of(target)
        _seal(target, json_text(result))
        result = replace(result, digest=_digest(target))
    if as_json:
        sys.stdout.write(json_text(result) + "\n")
        sys.stdout.flush()
    missing = _write_outputs(result, page, table, target)
    print_result(
        replace(result, notes=(*result.notes, *missing)),
        console if as_json else Console(),
        report=None if missing else page,
    )
    return result.exit


def _write_outputs(
    result: Result, page: Path | None, table: Path | None, record: Path
) -> tuple[str, ...]:
    """Write report and readings; say what can't be written, as the verdicts stand without it."""
    try:
        if page is not None:
            from sequencer.outputs.report import write_report  # noqa: PLC0415  # drawing loads a lot

            write_report(result, page)
        if table is not None:
            with RecordReader.open(record) as reader:
                write_text(table, reader.frame().to_csv(index=False))
    except SteadyrailError as error:
        return (f"{error} The record is complete: `steadyrail report` can write it again.",)
    return ()


def _digest(record: Path) -> str:
    with RecordReader.open(record) as reader:
        return reader.seal or ""


def _now() -> datetime:
    return datetime.now(UTC)


def _tell_before(
    documents: Documents, plan: Plan, console: Console, *, cautions_read: bool
) -> None:
    """Say what won't be covered, show the cautions, and have them acknowledged on a real bench."""
    for limit in plan.limits:
        if limit.measured and not limit.covered:
            console.print(
                f"Will not be covered: {limit.figure}. {limit.why}", style="bold", markup=False
            )
    if documents.bench.simulation is not None or cautions_read:
        return
    for caution in CAUTIONS:
        console.print(f"• {caution}", markup=False)
    if not sys.stdin.isatty():
        raise UsageError(
            "Nothing was energised: the cautions above have to be acknowledged. Read them, then "
            "call again with --cautions-read."
        )
    console.print("Type yes if you have read this and the bench is ready: ", end="")
    if sys.stdin.readline().strip().lower() != "yes":
        raise UsageError("Nothing was energised: the cautions were not acknowledged.")


def _carry_out(
    documents: Documents, plan: Plan, target: Path, console: Console, stop: Stop
) -> None:
    """Open the bench, perform the trials, make safe; everything goes to the record."""
    events = BenchEvents()
    with _opened(documents, events) as table:
        simulated = documents.bench.simulation
        writer = RecordWriter.create(
            target,
            documents={
                kind: (source.path, source.text)
                for kind, source in (
                    ("unit", documents.unit_source),
                    ("bench", documents.bench_source),
                    ("profile", documents.profile_source),
                )
            },
            versions=versions(),
            options={} if simulated is None else simulated.model_dump(),
        )
        by_hand = documents.bench.bench.operator == "terminal"
        with writer, Progress(console, plan, plain=by_hand) as progress:
            events.attach(writer)

            def on_time(bench_time: float) -> None:
                events.at(bench_time)
                progress.at(bench_time)

            run_trials(
                table,
                documents,
                planned_trials(documents),
                writer,
                stop,
                on_time=on_time,
                on_trial=progress.trial,
                on_safe=lambda safe: _tell_safe(safe, console),
            )


def _tell_safe(safe: SafeReport, console: Console) -> None:
    """Say at once how making safe went; the record may be what fails next."""
    if not safe.verified:
        console.print(f"{safe}", style="bold red", markup=False)


@contextmanager
def _opened(documents: Documents, events: BenchEvents) -> Iterator[Bench]:
    """Yield the opened bench; start the simulated one first where the document asks for it."""
    simulated = documents.bench.simulation
    if simulated is None:
        with _connected(documents, events, None) as bench:
            yield bench
        return
    with (
        simulation(simulated.scenario, simulated.seed) as addresses,
        _connected(documents, events, addresses) as bench,
    ):
        yield bench


@contextmanager
def _connected(
    documents: Documents, events: BenchEvents, addresses: Mapping[str, str] | None
) -> Iterator[Bench]:
    try:
        bench = connect(bench_spec(documents.bench, addresses), on_event=events)
    except InstrumentError as error:
        raise BenchFailed(f"{error} Nothing was energised.") from error
    try:
        yield bench
    finally:
        bench.close()


def _seal(target: Path, result: str) -> None:
    """Write the result into the record and seal it."""
    with RecordWriter.reopen(target) as writer:
        writer.finish(result)
