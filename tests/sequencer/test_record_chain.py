"""A record that is not sealed yet shows whether what was committed was changed since."""

import hashlib
import json
import sqlite3
import time
from contextlib import closing
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from record_samples import CUT_OFF, new_writer, tick, write_run

from drivers.roles import Reading
from sequencer.errors import RecordError
from sequencer.record.chain import link
from sequencer.record.read import RecordReader
from sequencer.record.schema import CHAIN, CONTENT
from sequencer.record.seal import verify
from sequencer.record.write import RecordWriter


@pytest.fixture
def path(tmp_path: Path) -> Path:
    target = tmp_path / "run.sqlite"
    with new_writer(target) as writer:
        write_run(writer)
    return target


def change(path: Path, *statements: str) -> None:
    """Change a record behind its triggers, which are put back, so that nothing else shows it."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        query = "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' ORDER BY name"
        triggers = connection.execute(query).fetchall()
        connection.execute("PRAGMA synchronous = OFF")
        connection.execute("BEGIN")
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        for _, text in triggers:
            connection.execute(text)
        connection.execute("COMMIT")


def older(path: Path) -> None:
    """Make of a record one of the version before there was a chain."""
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("DROP TABLE chain")
        connection.execute("PRAGMA user_version = 1")


def test_an_untouched_record_is_unbroken_also_when_it_goes_on(path: Path) -> None:
    found = verify(path)
    assert (found.unbroken, found.guarded, found.altered) == (True, True, False)
    with RecordWriter.reopen(path) as writer:
        writer.begin_trial(0, "soak", '{"hours":8}')
        seq = writer.begin_request(CUT_OFF, 20.0)
        writer.add_readings(seq, 0, tick(0), "read")
    with RecordReader.open(path) as reader:
        assert reader.last_request == seq
    assert verify(path).unbroken
    with RecordWriter.reopen(path) as writer:
        writer.finish("{}")
    assert verify(path).unbroken


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        ("UPDATE readings SET value = value + 1e-9 WHERE id = 3", "readings"),
        ("UPDATE readings SET flag = '' WHERE flag = 'overload'", "readings"),
        ("DELETE FROM readings WHERE id = (SELECT max(id) FROM readings)", "readings"),
        ("DELETE FROM readings WHERE id = 2", "readings"),
        ("DELETE FROM events WHERE id = 1", "events"),
        ("UPDATE documents SET text = replace(text, 'W-17', 'W-18')", "documents"),
        ("INSERT INTO options VALUES (9, 'seed', '{\"\":8}')", "options"),
        ("UPDATE requests SET body = replace(body, '3.0', '2.0')", "requests"),
        ("DELETE FROM chain WHERE id = (SELECT max(id) FROM chain)", "rows"),
        ("DELETE FROM chain WHERE id = 2", "missing"),
        ("DELETE FROM chain", "rows"),
        ("UPDATE chain SET digest = 'x' WHERE id = 1", "documents"),
        ("UPDATE chain SET rows = 'x' WHERE id = 2", "(x)"),
        ("UPDATE chain SET rows = '{\"sqlite_schema\":[[1,9]]}' WHERE id = 2", "sqlite_schema"),
        ('UPDATE chain SET rows = \'{"readings":[["a",9,7]]}\' WHERE id = 2', "readings"),
    ],
)
def test_what_was_changed_removed_or_slipped_in_is_found(
    path: Path, statement: str, named: str
) -> None:
    change(path, statement)
    found = verify(path)
    assert (found.unbroken, found.guarded, found.altered) == (False, True, True)
    assert "changed after it was committed" in found.remarks[1]
    assert named in found.remarks[1]


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_any_cell_of_any_row_is_covered(path: Path, data: st.DataObject) -> None:
    whole = path.read_bytes()
    with closing(sqlite3.connect(path)) as connection:
        full = [t for t in CONTENT if connection.execute(f"SELECT 1 FROM {t}").fetchone()]  # noqa: S608
        table = data.draw(st.sampled_from(full))
        columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
        column = data.draw(st.sampled_from(columns))
        rows = connection.execute(f"SELECT id, {column} FROM {table}").fetchall()  # noqa: S608
    number, value = data.draw(st.sampled_from(rows))
    other = "started" if column == "what" else "watch" if column == "role" else f"{value}1"
    if other == value or isinstance(value, int | float) or value is None:
        other = 1000 if other != value else "resumed" if column == "what" else "ask"
    try:
        shown = f"'{other}'" if isinstance(other, str) else other
        change(path, f"UPDATE {table} SET {column} = {shown} WHERE id = {number}")  # noqa: S608
        assert verify(path).altered
    finally:
        path.write_bytes(whole)


def test_the_chain_is_the_one_that_is_described(path: Path) -> None:
    """The description in chain.py, followed by hand with nothing of the project's."""
    digest = ""
    with closing(sqlite3.connect(path)) as connection:
        links = connection.execute("SELECT rows, digest FROM chain ORDER BY id").fetchall()
        assert len(links) > 5
        for told, stored in links:
            text = f"{digest}\n"
            for table, spans in json.loads(told).items():
                rows = [
                    row
                    for first, last in spans
                    for row in connection.execute(
                        f"SELECT * FROM {table} WHERE id >= {first} AND id <= {last} ORDER BY id"  # noqa: S608
                    )
                ]
                text += f"{table}\n{json.dumps(rows, separators=(',', ':'))}\n"
            digest = hashlib.sha256(text.encode("ascii")).hexdigest()
            assert digest == stored


def test_numbers_that_sqlite_turns_into_others_break_nothing(tmp_path: Path) -> None:
    """SQLite makes 3.0 of 3 and 0.0 of -0.0 in a REAL column, and NULL stands for NaN."""
    path = tmp_path / "run.sqlite"
    with new_writer(path) as writer:
        writer.begin_trial(0, "soak", "{}")
        seq = writer.begin_request(CUT_OFF, 3)
        odd = [Reading("voltage.sense", v, "", 0, -0.0, "") for v in (-0.0, 7, 1e-320, 1e300)]
        writer.add_readings(seq, 0, [*odd, Reading("voltage.sense", float("nan"), "", 1, 2, "")])
        writer.event(-0.0, "late", "note", "\ud800 µ \x00 \U0001f50c", {"n": 1})
        writer.event(5, "late", "note", "")
    assert verify(path).unbroken


def test_a_record_of_before_the_chain_can_be_judged_but_not_gone_on_with(path: Path) -> None:
    older(path)
    found = verify(path)
    assert (found.sealed, found.guarded, found.unbroken, found.altered) == (
        False,
        True,
        None,
        False,
    )
    assert "older version" in " ".join(found.remarks)
    with RecordReader.open(path) as reader:
        assert reader.steps(0)
    with pytest.raises(RecordError, match=r"older version.*start a new run"):
        RecordWriter.reopen(path)


def test_a_commit_that_failed_leaves_the_chain_whole(path: Path) -> None:
    with RecordWriter.reopen(path) as writer:
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            writer._batch.connection.execute("PRAGMA busy_timeout = 10")
            with pytest.raises(RecordError, match="locked"):
                writer.event(1.0, "late", "note", "while another process writes")
            other.execute("ROLLBACK")
        writer.event(2.0, "late", "note", "and after that")
    assert verify(path).unbroken
    with RecordReader.open(path) as reader:
        assert [e.text for e in reader.events][-2:] == [
            "while another process writes",
            "and after that",
        ]


def test_the_chain_costs_little_beside_writing_the_same_rows() -> None:
    """Side by side: 1.4 times what sqlite takes for the rows, which is little of a tick."""
    rows: list[tuple[int | float | str | None, ...]] = [
        (n, 7, n // 8, n % 8, "read", n + 0.001, n + 0.101, 29.9987 + n, "+2.99987E+01", "")
        for n in range(8 * 500)
    ]
    ratio = min(_spent_on_chain(rows) / _spent_on_rows(rows) for _ in range(7))
    assert ratio < 3.0, f"{ratio:.2f} times as much"


def _spent_on_chain(rows: list[tuple[int | float | str | None, ...]]) -> float:
    start = time.process_time()
    link("", {"readings": rows})
    return time.process_time() - start


def _spent_on_rows(rows: list[tuple[int | float | str | None, ...]]) -> float:
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.execute("CREATE TABLE r (a INTEGER PRIMARY KEY, b, c, d, e, f, g, h, i, j)")
        start = time.process_time()
        with connection:
            connection.executemany("INSERT INTO r VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", rows)
        return time.process_time() - start


def test_the_chain_vouches_for_every_table(path: Path) -> None:
    """What a run writes and the chain does not cover could be changed unseen."""
    with closing(sqlite3.connect(path)) as connection:
        names = {
            r[0] for r in connection.execute("SELECT name FROM sqlite_schema WHERE type='table'")
        }
    assert names == {*CONTENT, CHAIN, "seal"}
