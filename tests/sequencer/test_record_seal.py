"""A record is append-only, and a seal shows whether it was changed."""

import hashlib
import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from record_samples import new_writer, write_run

from sequencer.errors import RecordError
from sequencer.record.read import RecordReader
from sequencer.record.schema import TABLES
from sequencer.record.seal import verify
from sequencer.record.write import RecordWriter


@pytest.fixture
def path(tmp_path: Path) -> Path:
    target = tmp_path / "run.sqlite"
    with new_writer(target) as writer:
        write_run(writer)
    return target


@pytest.fixture
def sealed(path: Path) -> Path:
    with RecordWriter.reopen(path) as writer:
        writer.finish('{"outcome":"pass"}')
    return path


def execute(path: Path, *statements: str) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(statement)


def test_a_sealed_record_is_intact(sealed: Path) -> None:
    found = verify(sealed)
    assert (found.sealed, found.intact, found.guarded, found.remarks) == (True, True, True, ())
    with RecordReader.open(sealed) as reader:
        assert reader.seal == found.digest
        assert reader.result == '{"outcome":"pass"}'
        assert reader.ended


def test_a_record_without_a_seal_says_so(path: Path) -> None:
    found = verify(path)
    assert (found.sealed, found.intact, found.guarded) == (False, False, True)
    assert "never sealed" in found.remarks[0]


def test_the_digest_is_the_one_that_is_described(sealed: Path) -> None:
    """The description in seal.py, followed by hand with nothing of the project's."""
    total = ""
    with closing(sqlite3.connect(sealed)) as connection:
        for table in TABLES[:-1]:
            rows = connection.execute(f"SELECT * FROM {table} ORDER BY id").fetchall()  # noqa: S608
            total += f"{table}\n{json.dumps(rows, separators=(',', ':'))}\n"
    assert hashlib.sha256(total.encode("ascii")).hexdigest() == verify(sealed).digest


def test_the_digest_does_not_depend_on_the_layout_of_the_file(sealed: Path) -> None:
    before, size = verify(sealed), sealed.read_bytes()
    execute(sealed, "PRAGMA page_size = 1024", "VACUUM")
    assert sealed.read_bytes() != size
    assert verify(sealed) == before


@pytest.mark.parametrize("table", TABLES)
def test_no_table_lets_rows_be_changed_removed_or_replaced(sealed: Path, table: str) -> None:
    for statement in (
        f"UPDATE {table} SET id = id + 1000",  # noqa: S608
        f"DELETE FROM {table}",  # noqa: S608
        f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",  # noqa: S608
    ):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            execute(sealed, statement)
    assert verify(sealed).intact


@pytest.mark.parametrize("table", TABLES)
def test_nothing_is_added_once_sealed(sealed: Path, table: str) -> None:
    with closing(sqlite3.connect(sealed)) as connection:
        columns = len(connection.execute(f"PRAGMA table_info({table})").fetchall())
        values = ",".join(["9999", *["1"] * (columns - 1)])
        with pytest.raises(sqlite3.IntegrityError, match="sealed"):
            connection.execute(f"INSERT INTO {table} VALUES ({values})")  # noqa: S608


def test_a_sealed_record_is_not_reopened(sealed: Path) -> None:
    with pytest.raises(RecordError, match="sealed"):
        RecordWriter.reopen(sealed)


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE readings SET value = value + 1e-9 WHERE id = 3",
        "UPDATE readings SET raw = '+3.0E+01' WHERE id = 3",
        "UPDATE documents SET text = replace(text, 'W-17', 'W-18')",
        "DELETE FROM events WHERE id = 1",
        "UPDATE moments SET wall = 'x' WHERE id = 1",
        "INSERT INTO events SELECT 99, at, wall, kind, severity, text, detail FROM events LIMIT 1",
        "UPDATE seal SET digest = 'x'",
    ],
)
def test_a_change_behind_the_triggers_is_found(sealed: Path, change: str) -> None:
    with closing(sqlite3.connect(sealed)) as connection:
        names = [
            row[0]
            for row in connection.execute("SELECT name FROM sqlite_schema WHERE type='trigger'")
        ]
    execute(sealed, *(f"DROP TRIGGER {name}" for name in names), change)
    found = verify(sealed)
    assert (found.sealed, found.intact, found.guarded) == (True, False, False)
    assert len(found.remarks) == (2 if "seal" in change else 3)
