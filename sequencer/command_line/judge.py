"""`steadyrail judge`: the result again, from the record alone."""

import sys
from pathlib import Path

from rich.console import Console

from sequencer.assemble import result_of
from sequencer.outputs.json_object import json_text
from sequencer.outputs.terminal import print_result


def run(record: Path, *, as_json: bool) -> int:
    """Judge a record and return the exit code of its run."""
    result = result_of(record)
    if as_json:
        sys.stdout.write(json_text(result) + "\n")
    else:
        print_result(result, Console())
    return result.exit
