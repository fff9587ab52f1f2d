"""What `run` and `resume` share: trials on an opened bench, shown as they go, and the seal."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

from rich.console import Console

from sequencer.assemble import ALTERED, result_of, stopped_by_guard
from sequencer.command_line.left_alone import tell_finished, tell_stopped
from sequencer.command_line.progress import Progress
from sequencer.command_line.steady import tell
from sequencer.documents.load import Documents
from sequencer.documents.quantities import format_quantity
from sequencer.errors import Exit, Interrupted, RecordError, RecordFailed, SteadyrailError
from sequencer.outputs.files import write_text
from sequencer.outputs.json_object import json_text
from sequencer.outputs.readings_table import readings_csv
from sequencer.outputs.terminal import print_result
from sequencer.planning import Plan
from sequencer.record.read import RecordReader
from sequencer.record.write import RecordWriter
from sequencer.result import UNSEALED, Result
from sequencer.run.bench_events import BenchEvents
from sequencer.run.notify import notifier_of
from sequencer.run.opened import Opened
from sequencer.run.past import Outlook, Past
from sequencer.run.safe_report import SafeReport
from sequencer.run.session import run_trials
from sequencer.run.stop import Stop
from sequencer.steady import tell_program

GUARDIAN_GOES_ON = (
    "The guardian, a process of its own, goes on trying to make the bench safe after this command "
    "has ended; what it does stands in the file RECORD.guardian.txt. Don't rely on it."
)

STOPPING = "Stopping: making the bench safe …"
ENDING = "The run has ended; its results are being written …"

RESUMABLE = (Exit.INSTRUMENT, Exit.INTERRUPTED)
"""A run that ended so is not sealed: it can go on once the cause is gone."""


def perform_on(
    documents: Documents,
    plan: Plan,
    table: Opened,
    writer: RecordWriter,
    events: BenchEvents,
    console: Console,
    stop: Stop,
    past: Past | None = None,
) -> None:
    """Perform the trials on an opened bench, from their start or from where a record ends."""
    notifier = notifier_of(documents)
    by_hand = documents.bench.bench.operator == "terminal"
    with _written_to_its_end(writer, table), Progress(console, plan, plain=by_hand) as progress:
        events.attach(writer)
        for remark in table.remarks:
            writer.event(float("nan"), "bench lock", "warning", remark)

        def on_time(bench_time: float) -> None:
            events.at(bench_time)
            progress.at(bench_time)

        notifier.tell("started", f"About {plan.duration_s / 3600:.1f} h of bench time.")
        table.began = True
        ended = run_trials(
            table.bench,
            documents,
            writer,
            stop,
            guardian=table.guardian,
            job=table.job,
            past=past,
            on_time=on_time,
            on_trial=progress.trial,
            on_stop=lambda reason: _tell_reason(reason, console),
            on_safe=lambda safe: _tell_safe(safe, table, console),
            on_outlook=lambda outlook: _tell_outlook(outlook, console, progress, past),
            aloud=lambda text: _aloud(text, console, by_hand=by_hand),
        )
        table.give_back()  # who starts the next run must not wait for a notifier
        tell_stopped(notifier, ended.stopped_by, str(ended.safe))
    if failures := notifier.finish():  # its wait holds up no guardian that has to write, too
        with suppress(RecordError), RecordWriter.reopen(writer.path) as again:
            for failure in failures:
                again.event(float("nan"), "not notified", "warning", failure)


@contextmanager
def _written_to_its_end(writer: RecordWriter, table: Opened) -> Iterator[None]:
    """Close a record at the end of its run; once that was made safe, say what to do if it fails."""
    try:
        with writer:
            yield
    except RecordError as error:
        if table.safe is None:
            raise
        raise RecordFailed(f"{error} {mended(writer.path)}") from error


def loudly(console: Console) -> Callable[[str], None]:
    """Return what says at once, and with a bell, what can't wait for the end of the command."""
    return lambda text: console.print(f"\a>> {text}", style="bold red", markup=False)


def _aloud(text: str, console: Console, *, by_hand: bool) -> None:
    """Say what only a person can do, where one is there."""
    if by_hand:
        loudly(console)(text)


def _tell_reason(reason: SteadyrailError, console: Console) -> None:
    """Say why the run stopped; who pressed Ctrl-C knows."""
    if not isinstance(reason, Interrupted):
        loudly(console)(str(reason))


def _tell_outlook(
    outlook: Outlook, console: Console, progress: Progress, past: Past | None
) -> None:
    """Say before anything is switched how the run goes on, and how long it will take."""
    for line in outlook.lines:
        console.print(f"• {line}", markup=False)
    console.print(f"About {format_quantity(outlook.left_s, 's', 2)} are left.", markup=False)
    if past is not None:
        progress.expect(past.now_s, outlook.left_s)


def _tell_safe(safe: SafeReport, table: Opened, console: Console) -> None:
    """Keep and say at once how making safe went; the record may be what fails next."""
    table.safe = safe
    if not safe.verified:
        console.print(f"{safe}", style="bold red", markup=False)
    if table.left_to_guardian:
        console.print(GUARDIAN_GOES_ON, style="bold red", markup=False)


def conclude(
    documents: Documents,
    result: Result,
    page: Path | None,
    table: Path | None,
    record: Path,
    console: Console,
) -> tuple[Result, Path | None]:
    """Write report and readings, then notify; return what is to be shown, and the report's path.

    What can't be done is said, as the verdicts stand without it, and the record may be sealed.
    """
    missing = _write_outputs(result, page, table, record)
    notifier = notifier_of(documents)
    tell_finished(notifier, result)
    for failure in notifier.finish():
        console.print(f"Not notified: {failure}", style="bold", markup=False)
    return replace(result, notes=(*result.notes, *missing)), None if missing else page


def _write_outputs(
    result: Result, page: Path | None, table: Path | None, record: Path
) -> tuple[str, ...]:
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


def tell_result(result: Result, page: Path | None, console: Console, *, as_json: bool) -> int:
    """Show the result, after all else is done, as whoever reads it may not; return the exit code.

    A result that can't be written changes no exit code: that speaks of the unit.
    """
    if as_json:
        hindered = tell_program(json_text(result))
        print_result(result, console, report=page)
    else:
        hindered = tell(lambda out: print_result(result, out, report=page))
    if hindered:
        console.print(
            f"The result could not be written to standard output: {hindered}. The record has it: "
            f"steadyrail judge {result.record}",
            style="bold red",
            markup=False,
        )
    return result.exit


def mended(record: Path) -> str:
    """Return what to do once a record can be written again whose run was measured to its end."""
    return f"All that was measured is in it. Once that is mended: steadyrail resume {record}"


def _unsealed(result: Result, error: RecordError, target: Path) -> Result:
    """Return the result of a run that was measured to its end, but whose record can't be sealed."""
    alarm = f"The record could not be sealed: {error} {mended(target)}"
    return replace(
        result,
        alarm=" ".join(filter(None, (result.alarm, alarm))),
        outcome=UNSEALED,
        exit=Exit.INSTRUMENT,
    )


def finish(target: Path, documents: Documents) -> Result:
    """Compute the result, and seal the record with it unless the run can go on later.

    Nor while its bench isn't shown to be safe, but for a simulated one that ended with the run.
    """
    result = result_of(target)
    if result.outcome == ALTERED[0]:
        return result  # nothing that this program seals
    if result.made_safe is False and documents.bench.simulation is None:
        note = (
            "The record is not sealed, so that whoever makes the bench safe, such as the guardian, "
            "can write it down there."
        )
        return replace(result, notes=(*result.notes, note))
    if result.exit in RESUMABLE and not stopped_by_guard(result.events):
        note = f"The record is not sealed, so that the run can go on: steadyrail resume {target}"
        return replace(result, notes=(*result.notes, note))
    try:
        with RecordWriter.reopen(target) as writer:
            writer.finish(json_text(result))
    except RecordError as error:
        return _unsealed(result, error, target)
    with RecordReader.open(target) as reader:
        return replace(result, digest=reader.seal or "")
