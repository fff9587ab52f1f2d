"""`steadyrail run`: documents, bench, trials, verdicts, record and report."""

import os
import sys
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console

from sequencer.cautions import CAUTIONS
from sequencer.command_line.documents import load_checked, with_simulation
from sequencer.command_line.left_alone import refuse_if_not_ready, told
from sequencer.command_line.on_bench import (
    ENDING,
    STOPPING,
    conclude,
    finish,
    loudly,
    perform_on,
    tell_result,
)
from sequencer.command_line.paths import REPORT_SUFFIX, free, record_path
from sequencer.command_line.plan_limits import limit_name, no_room, weak_words
from sequencer.command_line.steady import messages
from sequencer.command_line.typed_values import refuse_too_many
from sequencer.documents.calibration_days import today
from sequencer.documents.load import Documents
from sequencer.errors import UsageError
from sequencer.planning import Plan, make_plan
from sequencer.record.write import RecordWriter
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
    if page is not None and os.path.realpath(page) == os.path.realpath(target):
        raise UsageError(f"Record and report can't both be {target}: give one another name.")
    if trace is not None:
        free(trace, "message trace")
    plan = make_plan(documents, today())
    refuse_too_many(documents, plan)
    if unattended:
        refuse_if_not_ready(documents, plan)
    with messages() as console:
        _tell_before(documents, plan, console, cautions_read=cautions_read)
        with Stop(lambda: console.print(ENDING, style="bold")):
            with told(documents):
                with Stop(lambda: console.print(STOPPING, style="bold")) as stop:
                    _carry_out(documents, plan, target, console, stop, trace)
                result = finish(target, documents)
            result, shown = conclude(documents, result, page, table, target, console)
        return tell_result(result, shown, console, as_json=as_json)


def _now() -> datetime:
    return datetime.now(UTC)


def _tell_before(
    documents: Documents, plan: Plan, console: Console, *, cautions_read: bool
) -> None:
    """Say what won't be covered or decided, show the cautions, have them acknowledged."""
    for limit in plan.limits:
        if limit.measured and not limit.covered and not limit.perhaps:
            console.print(
                f"Will not be covered: {limit_name(limit)}. {limit.why}", style="bold", markup=False
            )
    for line in weak_words(limit for limit in plan.limits if no_room(limit)):
        console.print(line, style="bold", markup=False)
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
    with opened(
        documents, target, events, trace=trace, aloud=loudly(console), prompt=console.file
    ) as table:
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
