"""`steadyrail check`: validate documents, or print the schema that editors use."""

import json
import sys
from collections.abc import Sequence

from sequencer.command_line.documents import bench_mistakes, load_checked
from sequencer.command_line.left_alone import reasons_against
from sequencer.documents.check import check_files
from sequencer.documents.find import Kind
from sequencer.documents.schema import schema as schema_of
from sequencer.errors import DocumentError, Exit, UsageError
from sequencer.planning import make_plan
from sequencer.trials.registry import trials


def run(files: Sequence[str], schema: Kind | None, *, as_json: bool) -> int:
    """Check files, or print a schema; return the exit code."""
    settings = {name: trial.settings for name, trial in trials().items()}
    if schema is not None:
        found = schema_of(schema, settings)
        sys.stdout.write(json.dumps(found, indent=2, ensure_ascii=False) + "\n")
        return Exit.PASSED
    if not files:
        raise UsageError(
            "Nothing to check: name one or more files or shipped documents, or ask for a schema "
            "with --schema unit, bench or profile."
        )
    needs = {name: trial.needs for name, trial in trials().items()}
    mistakes = check_files(files, settings=settings, needs=needs)
    mistakes += tuple(one for one in bench_mistakes(files) if one not in mistakes)
    if as_json:
        rows = [
            {"file": m.file, "key_path": m.key_path, "found": m.found, "expected": m.expected}
            for m in mistakes
        ]
        sys.stdout.write(json.dumps({"mistakes": rows}) + "\n")
    else:
        for mistake in mistakes:
            sys.stdout.write(f"{mistake}\n")
        if not mistakes:
            count = len(files)
            sys.stdout.write(f"{count} document{'s' if count > 1 else ''} without a mistake.\n")
            for line in _left_alone(files):
                sys.stdout.write(line + "\n")
    return Exit.WRONG_USE if mistakes else Exit.PASSED


def _left_alone(files: Sequence[str]) -> list[str]:
    """Say for each profile that demands something of unattended runs what stands against one."""
    lines = []
    for name in files:
        try:
            documents = load_checked(name, unit=None, bench=None)
        except DocumentError:
            continue  # a unit or a bench alone
        if documents.profile.unattended is not None:
            against = reasons_against(documents, make_plan(documents))
            said = f"would be refused: {'; '.join(against)}" if against else "would be started"
            lines.append(f"{name}: with --unattended it {said}.")
    return lines
