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
from forks import Started

from sequencer.errors import RecordError
from sequencer.record.files import opened, refuse_finished

Way = Literal["kill", "hang", "guardian"]
RECORD = "run.sqlite"
PERIOD_S = 0.03

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
fractions = ["25 %", "50 %", "100 %"]
repeats = 2
readings = 3
tail = "30 s"

[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "1 min"
duration = "60 min"
period = "2 s"
"""


@dataclass(frozen=True)
class Outcome:
    """What became of an interrupted run.

    `before` and `trials` are the readings that were committed and the trials that were begun when
    it was ended; `lost` those readings that are not in the record of the resumed run. `ended`
    where the run came to its end before it could be interrupted; `said` is what the resumed run
    wrote for people.
    """

    safe_after_s: float
    before: int
    trials: tuple[str, ...]
    lost: int
    ended: bool
    result: dict[str, Any]
    said: str = ""


def whole(folder: Path) -> tuple[dict[str, Any], float]:
    """Run without interruption; return the result, and the wall time from its record to its end."""
    with apart(folder, profile=SHORT) as table:
        process = table.run(RECORD)
        wait_for((folder / RECORD).exists)
        since = time.monotonic()
        process.wait()
        took_s = time.monotonic() - since
        return json.loads(process.out.read_text()), took_s


def interrupted(
    folder: Path, way: Way, readings: int, phase: str = "", *, later_s: float = 0.0
) -> Outcome:
    """End a run once so many readings (of a phase) are committed; then resume it to its end.

    `later_s` after that moment: readings are committed each second, so that moments between two
    commits would else never be tried.
    """
    record = folder / RECORD
    with apart(folder, profile=SHORT) as table:
        process = table.run(RECORD)
        wait_for(
            lambda: (
                (record.exists() and count(record, phase) >= readings) or process.poll() is not None
            )
        )
        time.sleep(later_s)  # wall time: the processes are real
        since = time.monotonic()
        if process.poll() is None:
            _end(table, process.pid, way)
        before, trials = committed(record), begun(record)
        safe_after_s = table.seconds_to_safe(since)
        if way == "hang":
            _wake_what_has_made_safe(table, process)
        code = process.wait()
        wait_for(lambda: not table.guardians())
        if is_sealed(record):  # it had come to its end, and only its report was cut off
            _, out = table.finish("judge", RECORD, "--json")
            return Outcome(safe_after_s, len(before), trials, 0, True, json.loads(out))
        code, out = table.finish("resume", RECORD, "--json", "--cautions-read")
        assert out, (code, table.errors())
        lost = len(set(before) - set(committed(record)))
        said = table.errors()
        return Outcome(safe_after_s, len(before), trials, lost, False, json.loads(out), said)


def _end(table: Apart, pid: int, way: Way) -> None:
    if way == "guardian":
        for guardian in table.guardians():
            os.kill(guardian, signal.SIGKILL)
    else:
        os.kill(pid, signal.SIGKILL if way == "kill" else signal.SIGSTOP)


def killed(table: Apart, record: Path) -> None:
    """Let a run begin, and kill it and its guardian in the middle."""
    process = table.run(record.name)
    wait_for(lambda: record.exists() and len(committed(record)) > 100)
    for pid in (*table.guardians(), process.pid):
        os.kill(pid, signal.SIGKILL)
    process.wait()


def _wake_what_has_made_safe(table: Apart, process: Started) -> None:
    """Let a run go on that hung after it had made safe, and told its guardian to go, itself."""
    wait_for(lambda: not table.guardians())
    if process.poll() is None:
        os.kill(process.pid, signal.SIGCONT)


def is_sealed(record: Path) -> bool:
    try:
        refuse_finished(record)
    except RecordError:
        return True
    return False


ALL = "SELECT coalesce(max(id), 0) FROM readings"
OF_PHASE = (
    "SELECT count(*) FROM readings WHERE request IN "
    """(SELECT id FROM requests WHERE body LIKE '%":"' || ? || '"%')"""
)
"""A phase of a trial is a word among the tags of its requests."""


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


def begun(record: Path) -> tuple[str, ...]:
    """Return the trials of the profile that a record has begun; the last may be complete."""
    with opened(record) as connection:
        rows = connection.execute("SELECT name FROM trials WHERE id < 1000 ORDER BY id").fetchall()
    return tuple(str(row[0]) for row in rows)


def verdicts(result: dict[str, Any]) -> dict[str, str]:
    return {v["figure"]: v["verdict"] for v in result["verdicts"]}


def figures(result: dict[str, Any], trials: tuple[str, ...]) -> list[Any]:
    return [f for f in result["figures"] if f["trial"] in trials]


def check(outcome: Outcome, expected: dict[str, Any]) -> None:
    """Hold what is promised of every moment; the trials before the cut have to be identical."""
    assert outcome.safe_after_s < SAFE_WITHIN_S
    assert outcome.lost == 0, "committed readings were lost or changed"
    assert verdicts(outcome.result) == verdicts(expected)
    assert outcome.result["exit"] == expected["exit"]
    untouched = outcome.trials[:-1]
    assert figures(outcome.result, untouched) == figures(expected, untouched)
