"""`steadyrail verify`: whether a record is sealed and unaltered, and its verdicts follow."""

import json
import sys
from collections.abc import Iterator
from pathlib import Path

from rich.console import Console

from sequencer.assemble import result_of
from sequencer.errors import Exit
from sequencer.outputs.json_object import json_object
from sequencer.record.read import RecordReader
from sequencer.record.seal import verify

COMPARED = ("outcome", "exit", "figures", "verdicts")
"""What has to come out again; the record's own path may differ."""
WORDS = frozenset({"why", "remarks", "notes"})
"""What is said of numbers that are compared themselves; another version may say it otherwise."""
MOST_NAMED = 8


def run(record: Path, *, as_json: bool) -> int:
    """Verify a record and return the exit code: 0 if all holds, 1 if not."""
    found = verify(record)
    follows: bool | None = None
    others: list[str] = []
    if found.intact:
        with RecordReader.open(record) as reader:
            stored = reader.result
        if stored is not None:
            before, now = json.loads(stored), json.loads(json.dumps(json_object(result_of(record))))
            others = [
                name for key in COMPARED for name in differences(before.get(key), now[key], key)
            ]
            follows = not others
    holds = found.sealed and found.intact and found.guarded and follows is True
    if as_json:
        answer = {
            "record": str(record),
            "sealed": found.sealed,
            "intact": found.intact,
            "unbroken": found.unbroken,
            "verdicts_follow": follows,
            "others": others,
            "digest": found.digest,
            "remarks": list(found.remarks),
        }
        sys.stdout.write(json.dumps(answer) + "\n")
    else:
        console = Console()
        kept = {True: "yes", False: "NO", None: "unknown: an older version made it"}
        nothing = "unknown: it holds no result"
        looked = "not looked at, as the record was altered" if found.altered else nothing
        words = {True: "yes", False: "NO", None: looked}
        console.print(f"Sealed: {words[found.sealed]}")
        unaltered = words[found.intact] if found.sealed else "unknown: it has no seal"
        console.print(f"Unaltered since: {unaltered}")
        console.print(f"As it was committed, step by step: {kept[found.unbroken]}")
        console.print(f"Its figures and verdicts come out again: {words[follows]}")
        if others:
            more = f" and {len(others) - MOST_NAMED} more" if len(others) > MOST_NAMED else ""
            console.print(f"Other than recorded: {', '.join(others[:MOST_NAMED])}{more}.")
            console.print(
                "Another version may judge otherwise: `judge` shows what it comes to now."
            )
        if found.digest:
            console.print(f"Digest: {found.digest}", soft_wrap=True)
        for remark in found.remarks:
            console.print(remark, markup=False)
    return Exit.PASSED if holds else Exit.FAILED


def differences(before: object, now: object, path: str) -> Iterator[str]:
    """Yield where two results differ; what an older version did not record is not compared."""
    if isinstance(before, dict) and isinstance(now, dict):
        for key, value in before.items():
            if key not in WORDS:
                yield from differences(value, now.get(key), f"{path}.{key}")
    elif isinstance(before, list) and isinstance(now, list) and len(before) == len(now):
        for number, (one, again) in enumerate(zip(before, now, strict=True)):
            yield from differences(one, again, f"{path}[{_named(one, number)}]")
    elif before != now:
        yield path


def _named(entry: object, number: int) -> object:
    """Return what an entry of a list is called: by its figure or component, else its number."""
    if not isinstance(entry, dict):
        return number
    return entry.get("figure", entry.get("name", number))
