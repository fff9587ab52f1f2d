"""`steadyrail report`: a record's report, and its readings as a table."""

from pathlib import Path

from rich.console import Console

from sequencer.assemble import result_of
from sequencer.command_line.paths import REPORT_SUFFIX, free, unused
from sequencer.errors import Exit
from sequencer.outputs.files import write_text
from sequencer.outputs.readings_table import readings_csv
from sequencer.outputs.report import write_report
from sequencer.record.read import RecordReader


def run(record: Path, to: Path | None, readings: Path | None) -> int:
    """Write the files and say where they are; return the exit code."""
    page = free(to or unused(record.with_suffix(REPORT_SUFFIX)), "report")
    if readings is not None:
        free(readings, "table of readings")
    write_report(result_of(record), page)
    console = Console()
    console.print(f"Report: {page}", markup=False, soft_wrap=True)
    if readings is not None:
        with RecordReader.open(record) as reader:
            write_text(readings, readings_csv(reader))
        console.print(f"Readings: {readings}", markup=False, soft_wrap=True)
    return Exit.PASSED
