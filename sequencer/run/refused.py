"""What is done before a run is refused that should have gone on: its bench may still be energised.

The record tells whether the run asked for energy and whether anybody has shown since that it is
gone. Where nobody has, the bench is made safe by the record's own documents, whatever became of
those on the disk. Instruments that answer as others than in the record are sent nothing: what their
settings mean nobody knows. The rest is made safe, and what they were is left to a person, loudly.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from sequencer.errors import BenchFailed, RecordError, SteadyrailError, UsageError
from sequencer.record.read import RecordReader
from sequencer.record.write import RecordWriter
from sequencer.run.event_kinds import MAKE_SAFE, RESUMED
from sequencer.run.safe_job import SafeJob, carry_out
from sequencer.run.safe_report import SafeReport

REMEDIES = {
    "load": "Switch whatever is connected as the load off at its own panel, or take its leads off.",
    "supply": "Switch the supply off at its own panel.",
    "line_source": "Switch the line source off at its own panel, or pull the unit's line plug.",
    "switch": "Take off whatever the switch connects.",
}
OTHER_REMEDY = "It is only read, so nothing has to be switched off there; trust no reading of it."


def may_be_energised(reader: RecordReader) -> bool:
    """Return whether a run asked for anything that was not shown to be without energy since."""
    kinds = [event.kind for event in reader.events]
    if not reader.last_request:
        return False
    safe = max((n for n, kind in enumerate(kinds) if kind == MAKE_SAFE), default=-1)
    resumed = max((n for n, kind in enumerate(kinds) if kind == RESUMED), default=-1)
    return safe <= resumed or reader.events[safe].severity == "alarm"


def strangers(before: Mapping[str, str], now: Mapping[str, str]) -> Mapping[str, tuple[str, str]]:
    """Return by name what another instrument than in the record answers, and what was expected."""
    return {
        name: (answer, before[name])
        for name, answer in now.items()
        if before.get(name, answer) != answer
    }


def stranger_words(job: SafeJob, name: str, found: str, expected: str) -> str:
    """Return what a person has to know and do about an instrument that was not commanded."""
    spec = next(i for i in job.spec.instruments if i.name == name)
    return (
        f"Another instrument than in the record answers as {name} at {spec.address}: {found!r}, "
        f"then {expected!r}. Nothing was sent to it but the question who it is. "
        f"{REMEDIES.get(spec.role, OTHER_REMEDY)}"
    )


def without(job: SafeJob, names: Collection[str]) -> SafeJob:
    """Return a job that opens none of these instruments, and takes no reading of theirs."""
    channels = tuple(
        c for c in job.spec.channels if c.instrument not in names and c.through not in names
    )
    there = {channel.name for channel in channels}
    return replace(
        job,
        spec=replace(
            job.spec,
            instruments=tuple(i for i in job.spec.instruments if i.name not in names),
            channels=channels,
        ),
        current_channels=tuple(c for c in job.current_channels if c in there),
        voltage_channels=tuple(c for c in job.voltage_channels if c in there),
    )


def made_safe_first(
    refusal: SteadyrailError,
    job: SafeJob,
    record: Path | None,
    aloud: Callable[[str], None],
    prompt: Any,  # a text stream
    on_wait: Callable[[], None] = lambda: None,
) -> tuple[SteadyrailError, SafeReport]:
    """Make a bench safe that a crashed run may have left energised; return what to raise then.

    It is written into the record, unless that is None: one that can't be used. What is returned is
    a failed bench, exit code 5, unless all is proven; then what was refused is of its kind.
    """
    aloud(f"{refusal} The bench may still be energised: making it safe first …")
    report = carry_out(job, aloud=aloud, prompt=prompt, on_wait=on_wait)
    failure = "" if record is None else write_down(record, report, RESUME)
    text = " ".join(filter(None, (str(refusal), f"First: {report}", failure)))
    if not report.verified:
        return BenchFailed(text), report
    return (RecordError if isinstance(refusal, RecordError) else UsageError)(text), report


RESUME, MAKE_SAFE_COMMAND = "resume", "make-safe"
WORDS = {RESUME: "Before a refused resume", MAKE_SAFE_COMMAND: "By steadyrail make-safe"}


def write_down(record: Path, report: SafeReport, by: str) -> str:
    """Append to a dead run's record how its bench was made safe; return what hindered that."""
    severity: Literal["note", "alarm"] = "note" if report.verified else "alarm"
    told = {"verified": int(report.verified), "by": by}
    try:
        with RecordWriter.reopen(record) as writer:
            text = f"{WORDS[by]}: {report}"
            writer.event(float("nan"), MAKE_SAFE, severity, text, told)
    except RecordError as error:
        return str(error)
    return ""
