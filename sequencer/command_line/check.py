"""`steadyrail check`: validate documents, or print the schema that editors use."""

import json
import sys
import tomllib
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Literal

from drivers.connect import dialect_fault, dialect_schema
from sequencer.command_line.documents import instrument_mistakes, load_checked, of_trials
from sequencer.command_line.left_alone import reasons_against
from sequencer.command_line.typed_values import refusal
from sequencer.documents.calibration_days import today
from sequencer.documents.check import check_files, locate_any
from sequencer.documents.find import Kind
from sequencer.documents.schema import schema as schema_of
from sequencer.documents.source import parse_source
from sequencer.errors import DocumentError, Exit, Mistake, UsageError
from sequencer.planning import make_plan


def run(files: Sequence[str], schema: Kind | Literal["dialect"] | None, *, as_json: bool) -> int:
    """Check files, or print a schema; return the exit code."""
    settings, needs = of_trials()
    if schema is not None:
        found = dialect_schema() if schema == "dialect" else schema_of(schema, settings)
        sys.stdout.write(json.dumps(found, indent=2, ensure_ascii=False) + "\n")
        return Exit.PASSED
    if not files:
        raise UsageError(
            "Nothing to check: name one or more files or shipped documents, or ask for a schema "
            "with --schema unit, bench, profile or dialect."
        )
    dialects = [name for name in files if _is_dialect(name)]
    documents = [name for name in files if name not in dialects]
    mistakes = check_files(
        documents, settings=settings, needs=needs, instruments=instrument_mistakes
    )
    for name in dialects:
        if (fault := dialect_fault(name)) is not None:
            found_wrong, remedy = fault
            expected = f"a dialect ({remedy[:1].lower() + remedy[1:].rstrip('.')})"
            mistakes += (Mistake(name, "(the whole file)", found_wrong, expected),)
    if as_json:
        rows = [
            {"file": m.file, "key_path": m.key_path, "found": m.found, "expected": m.expected}
            for m in mistakes
        ]
        sys.stdout.write(json.dumps({"mistakes": rows}) + "\n")
    else:
        for mistake in mistakes:
            sys.stdout.write(f"{mistake}\n")
        for line in _doubtful(documents):
            sys.stdout.write(line + "\n")
        if not mistakes:
            count = len(files)
            sys.stdout.write(f"{count} document{'s' if count > 1 else ''} without a mistake.\n")
            for line in _refused_runs(documents):
                sys.stdout.write(line + "\n")
    return Exit.WRONG_USE if mistakes else Exit.PASSED


def _is_dialect(name: str) -> bool:
    """Tell a dialect by the keys that only a dialect has; what can't be read is none."""
    try:
        keys = tomllib.loads(Path(name).read_text(encoding="utf-8")).keys()
    except (OSError, ValueError, RecursionError):
        return False
    return bool(keys & {"roles", "inherits", "questions", "settings"})


PLACES = (
    "voltage.sense",
    "voltage.load",
    "voltage.terminals",
    "current.shunt",
    "current.load",
    "current.panel",
    "temperature.heatsink",
    "temperature.ambient",
)
"""The channels that trials ask for by name; others may be read, but serve no figure."""

ALIKE = 0.85
"""Names of which so many letters agree differ by a slip."""


def _doubtful(files: Sequence[str]) -> list[str]:
    """Return remarks on channels whose names are nearly those that trials ask for."""
    lines = []
    for name in files:
        try:
            table = parse_source(locate_any(name)).get("channels")
        except DocumentError:
            continue
        channels = table if isinstance(table, dict) else {}
        for channel in channels:
            near = get_close_matches(channel, PLACES, n=1, cutoff=ALIKE)
            if near and channel not in PLACES and near[0] not in channels:
                lines.append(
                    f"{name}: note: no trial asks for the channel {channel}. Did you mean "
                    f"{near[0]}?"
                )
    return lines


def _refused_runs(files: Sequence[str]) -> list[str]:
    """Say for each profile what stands against its run: too much to type, or being left alone."""
    lines = []
    for name in files:
        try:
            documents = load_checked(name, unit=None, bench=None)
        except DocumentError:
            continue  # a unit or a bench alone
        if not documents.bench.typed and documents.profile.unattended is None:
            continue
        plan = make_plan(documents, today())
        if too_many := refusal(documents, plan):
            lines.append(f"{name}: it would be refused: {too_many}")
        if documents.profile.unattended is not None:
            against = reasons_against(documents, plan)
            said = f"would be refused: {'; '.join(against)}" if against else "would be started"
            lines.append(f"{name}: with --unattended it {said}.")
    return lines
