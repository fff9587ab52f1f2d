"""One interrupted run: ended at a moment, looked at, resumed, and compared with a whole one."""

import json
import os
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from bench_apart import SAFE_WITHIN_S, Apart, apart, committed

Way = Literal["kill", "hang", "guardian"]
RECORD = "run.sqlite"
PERIOD_S = 0.01

SHORT = """
[profile]
name = "short"
unit = "w-17"
bench = "bench.toml"

[outputs]
report = false

[[trials]]
trial = "load_steps"
voltage = "30 V"
current = "3 A"
repeats = 2

[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "1 min"
duration = "15 min"
period = "1 s"
"""


@dataclass(frozen=True)
class Outcome:
    """What became of an interrupted run; `before` are the readings committed when it was ended."""

    safe_after_s: float
    before: int
    ended: bool
    result: dict[str, Any]


def whole(folder: Path) -> tuple[dict[str, Any], int]:
    """Run without interruption; return the result and how many readings it took."""
    with apart(folder, profile=SHORT) as table:
        out, _ = table.run(RECORD).communicate(timeout=120)
        return json.loads(out), len(committed(folder / RECORD))


def interrupted(folder: Path, way: Way, readings: int, phase: str = "") -> Outcome:
    """End a run once so many readings (of a phase) are committed; then resume it to its end."""
    record = folder / RECORD
    with apart(folder, profile=SHORT) as table:
        process = table.run(RECORD)
        wait_for(
            lambda: (
                (record.exists() and count(record, phase) >= readings) or process.poll() is not None
            )
        )
        ended = process.poll() is not None
        since = time.monotonic()
        if not ended:
            _end(table, process.pid, way)
        before = committed(record)
        safe_after_s = table.seconds_to_safe(since)
        wait_for(lambda: process.poll() is not None)
        wait_for(lambda: not table.guardians())
        if process.returncode in {0, 1, 3}:  # it came to its end before it could be interrupted
            assert process.stdout is not None
            return Outcome(safe_after_s, len(before), True, json.loads(process.stdout.read()))
        code, out = table.finish("resume", RECORD, "--json", "--cautions-read")
        assert out, (code, table.errors())
        assert committed(record)[: len(before)] == before, "committed readings were lost or changed"
        return Outcome(safe_after_s, len(before), ended, json.loads(out))


def _end(table: Apart, pid: int, way: Way) -> None:
    if way == "guardian":
        for guardian in table.guardians():
            os.kill(guardian, signal.SIGKILL)
    else:
        os.kill(pid, signal.SIGKILL if way == "kill" else signal.SIGSTOP)


ALL = "SELECT coalesce(max(id), 0) FROM readings"
OF_PHASE = (
    "SELECT count(*) FROM readings WHERE request IN "
    """(SELECT id FROM requests WHERE body LIKE '%"phase":"' || ? || '"%')"""
)


def count(record: Path, phase: str = "") -> int:
    """Return how many readings are committed; cheap, so that it can be asked often."""
    import sqlite3  # noqa: PLC0415

    try:
        with sqlite3.connect(f"file:{record}?mode=ro", uri=True, timeout=1.0) as connection:
            query, values = (OF_PHASE, (phase,)) if phase else (ALL, ())
            found = connection.execute(query, values).fetchone()[0]
        connection.close()
    except sqlite3.Error:
        return 0
    return int(found)


def wait_for(condition: Callable[[], bool], limit_s: float = 150.0) -> None:
    end = time.monotonic() + limit_s
    while not condition():
        assert time.monotonic() < end, "it did not come"
        time.sleep(PERIOD_S)  # wall time: the processes are real


def verdicts(result: dict[str, Any]) -> dict[str, str]:
    return {v["figure"]: v["verdict"] for v in result["verdicts"]}


def check(outcome: Outcome, expected: dict[str, Any]) -> None:
    assert outcome.safe_after_s < SAFE_WITHIN_S
    assert verdicts(outcome.result) == verdicts(expected)
    assert outcome.result["exit"] == expected["exit"]
