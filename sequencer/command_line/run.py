"""`steadyrail run`: documents, bench, trials, verdicts, record and report."""

import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console

from sequencer.cautions import CAUTIONS
from sequencer.command_line.documents import load_checked, with_simulation
from sequencer.command_line.left_alone import refuse_if_not_ready
from sequencer.command_line.on_bench import finish, loudly, notify_end, perform_on
from sequencer.command_line.paths import REPORT_SUFFIX, free, record_path
from sequencer.command_line.steady import messages, results, tell_program
from sequencer.command_line.typed_values import refuse_too_many
from sequencer.documents.load import Documents
from sequencer.errors import SteadyrailError, UsageError
from sequencer.outputs.files import write_text
from sequencer.outputs.json_object import json_text
from sequencer.outputs.readings_table import readings_csv
from sequencer.outputs.terminal import print_result
from sequencer.planning import Plan, make_plan
from sequencer.record.read import RecordReader
from sequencer.record.write import RecordWriter
from sequencer.result import Result
from sequencer.run.away import stamp
from sequencer.run.bench_events import BenchEvents
from sequencer.run.opened import opened
from sequencer.run.spoken import software, spoken
from sequencer.run.stop import Stop


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
    trace: Path | None,
    unattended: bool,
    as_json: bool,
) -> int:
    """Run a profile and return the exit code."""
    console = messages()
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
    if trace is not None:
        free(trace, "message trace")
    plan = make_plan(documents)
    refuse_too_many(documents, plan)
    if unattended:
        refuse_if_not_ready(documents, plan)
    _tell_before(documents, plan, console, cautions_read=cautions_read)
    with Stop(lambda: console.print("Stopping: making the bench safe …", style="bold")) as stop:
        _carry_out(documents, plan, target, console, stop, trace)
        result = finish(target)
    if as_json:
        tell_program(json_text(result))
    missing = write_outputs(result, page, table, target)
    notify_end(documents, result, console)
    print_result(
        replace(result, notes=(*result.notes, *missing)),
        console if as_json else results(),
        report=None if missing else page,
    )
    return result.exit


def write_outputs(
    result: Result, page: Path | None, table: Path | None, record: Path
) -> tuple[str, ...]:
    """Write report and readings; say what can't be written, as the verdicts stand without it."""
    try:
        if page is not None:
            from sequencer.outputs.report import write_report  # noqa: PLC0415  # drawing loads a lot

            write_report(result, page)
        if table is not None:
            with RecordReader.open(record) as reader:
                write_text(table, readings_csv(reader))
    except SteadyrailError as error:
        return (f"{error} The record is complete: `steadyrail report` can write it again.",)
    return ()


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
    tell_cautions(documents, console, cautions_read=cautions_read)


def tell_cautions(documents: Documents, console: Console, *, cautions_read: bool) -> None:
    """Show the cautions and have them acknowledged on a real bench."""
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
    documents: Documents,
    plan: Plan,
    target: Path,
    console: Console,
    stop: Stop,
    trace: Path | None,
) -> None:
    """Open the bench, perform the trials, make safe; everything goes to the record."""
    events = BenchEvents()
    with opened(documents, target, events, trace=trace, aloud=loudly(console)) as table:
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
            }
            | spoken(documents.bench),
            versions=software(documents.bench),
            options={**stamp(), **({} if simulated is None else simulated.model_dump())},
        )
        perform_on(documents, plan, table, writer, events, console, stop)
