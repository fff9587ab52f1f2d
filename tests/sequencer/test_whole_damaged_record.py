"""Run and guardian are dead and the record is of no use: the bench is made safe by its lock."""

import os
import sqlite3
import time
from contextlib import closing
from pathlib import Path

import pytest
from bench_apart import PROFILE, Apart, apart, committed
from kills import killed
from test_whole_resume_made_safe_first import energise

RECORD = "run.sqlite"


def truncate(record: Path) -> None:
    os.truncate(record, record.stat().st_size // 2)


def alter(record: Path) -> None:
    with closing(sqlite3.connect(record, isolation_level=None)) as connection:
        connection.execute("PRAGMA writable_schema = ON")
        connection.execute("DELETE FROM sqlite_schema WHERE type = 'trigger'")
    with closing(sqlite3.connect(record, isolation_level=None)) as connection:
        connection.execute("UPDATE documents SET text = replace(text, '127.0.0.1', '127.0.0.9')")


def delete(record: Path) -> None:
    record.unlink()


def died(table: Apart) -> Path:
    """Let a run and its guardian be killed, and the load be on."""
    record = table.folder / RECORD
    killed(table, record)
    committed(record)  # its newest rows are beside it
    for suffix in ("-wal", "-shm"):
        with closing(sqlite3.connect(record)) as connection:
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        Path(f"{record}{suffix}").unlink(missing_ok=True)
    energise(table)
    return record


@pytest.mark.parametrize("harm", [truncate, alter, delete])
@pytest.mark.parametrize("command", ["resume", "make-safe"])
def test_it_is_made_safe_all_the_same(tmp_path: Path, command: str, harm: object) -> None:
    assert callable(harm)
    with apart(tmp_path, profile=PROFILE) as table:
        record = died(table)
        harm(record)
        words = (command, RECORD, *(["--cautions-read"] if command == "resume" else []))
        code, out = table.finish(*words)
        said = " ".join((table.errors() + out).split())
        assert code == (2 if command == "resume" else 0), said
        assert "Made safe, verified" in said
        assert "Nothing was energised" not in said
        table.seconds_to_safe(time.monotonic())
        assert not any(path.read_text() for path in (tmp_path / "locks").iterdir())


@pytest.mark.parametrize("harm", [truncate, alter])
def test_without_a_lock_it_says_that_the_bench_may_be_energised(
    tmp_path: Path, harm: object
) -> None:
    assert callable(harm)
    with apart(tmp_path, profile=PROFILE) as table:
        record = died(table)
        harm(record)
        for path in (tmp_path / "locks").iterdir():
            path.unlink()
        for words in (("resume", RECORD, "--cautions-read"), ("make-safe", RECORD)):
            code, _ = table.finish(*words)
            said = " ".join(table.errors().split())
            assert code == 2, said
            assert "Nothing was sent to" in said
            assert "energised" in said
            assert "make-safe BENCH" in said
            assert table.ask("load", "INPut?") == "1"
            (tmp_path / "errors.txt").unlink()
