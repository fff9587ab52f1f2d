"""What is no record, or no place for one, is refused in one paragraph and left alone."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from record_samples import new_writer, tick, write_run

from sequencer.errors import RecordError
from sequencer.record.read import RecordReader
from sequencer.record.schema import APPLICATION_ID, VERSION
from sequencer.record.seal import verify
from sequencer.record.write import RecordWriter
from sequencer.requests import Read


@pytest.fixture
def path(tmp_path: Path) -> Path:
    target = tmp_path / "run.sqlite"
    with new_writer(target) as writer:
        write_run(writer)
    return target


def names(folder: Path) -> list[str]:
    return [place.name for place in folder.iterdir()]


def refused(path: Path, match: str) -> None:
    before = path.read_bytes() if path.is_file() else None
    for use in (RecordReader.open, RecordWriter.reopen, verify):
        with pytest.raises(RecordError, match=match) as caught:
            use(path)  # type: ignore[operator]
        assert "\n" not in str(caught.value)
        assert str(path) in str(caught.value)
    if before is not None:
        assert path.read_bytes() == before


def test_the_marks_of_a_record_stand_in_its_header(path: Path) -> None:
    """Offsets 60 and 68: the SQLite file format, section 1.3, https://sqlite.org/fileformat.html."""
    header = path.read_bytes()[:100]
    assert int.from_bytes(header[60:64], "big") == VERSION
    assert int.from_bytes(header[68:72], "big") == APPLICATION_ID


def test_a_missing_file_is_refused_and_not_made(tmp_path: Path) -> None:
    refused(tmp_path / "none.sqlite", "No such file")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_refused(tmp_path: Path) -> None:
    refused(tmp_path, "directory")


@pytest.mark.parametrize("content", [b"", b"hello", b"SQLite format 3\x00", bytes(4096)])
def test_a_file_that_is_no_database_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "notes.txt"
    path.write_bytes(content)
    refused(path, "no record")


def test_somebody_elses_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE readings (id INTEGER PRIMARY KEY)")
    refused(path, "no record of this program")


@pytest.mark.parametrize(("version", "match"), [(VERSION + 1, "newer version"), (0, "layout 0")])
def test_another_layout_is_refused(path: Path, version: int, match: str) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version = {version}")
    refused(path, match)


def test_a_truncated_record_is_refused_at_whatever_length(path: Path) -> None:
    whole = path.read_bytes()
    for length in range(100, len(whole), 4000):
        path.write_bytes(whole[:length])
        refused(path, "truncated")


def test_a_record_with_a_page_of_rubbish_is_refused(path: Path) -> None:
    whole = bytearray(path.read_bytes())
    whole[4096 : 2 * 4096] = b"\xa5" * 4096
    path.write_bytes(whole)
    refused(path, "damaged")


def test_a_record_that_lacks_a_table_is_refused(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("DROP TABLE result")
    refused(path, "lacks the tables result")


def test_an_existing_file_is_not_overwritten(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    path.write_text("precious")
    with pytest.raises(RecordError, match="never overwritten"):
        new_writer(path)
    assert path.read_text() == "precious"
    assert names(tmp_path) == ["run.sqlite"]


def test_a_dangling_link_is_not_followed(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    path.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(RecordError, match="never overwritten"):
        new_writer(path)
    assert names(tmp_path) == ["run.sqlite"]


def test_rows_of_an_earlier_record_do_not_get_into_a_new_one(path: Path) -> None:
    path.unlink()
    path.with_name(path.name + "-wal").write_bytes(b"left behind")
    with pytest.raises(RecordError, match="-wal exists"):
        new_writer(path)


@pytest.mark.parametrize(
    ("place", "match"),
    [
        ("nowhere/run.sqlite", "No such file"),
        ("file/run.sqlite", "Not a directory"),
        ("n" * 300, "too long"),
    ],
)
def test_an_impossible_place_is_named(tmp_path: Path, place: str, match: str) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordError, match=match):
        new_writer(tmp_path / place)
    assert names(tmp_path) == ["file"]


def test_a_record_that_can_not_be_filled_leaves_nothing_behind(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="can't be written"):
        RecordWriter.create(
            tmp_path / "run.sqlite",
            documents={"unit": ("a", None)},  # type: ignore[dict-item]  # refused by the table
            versions={},
            options={},
        )
    assert names(tmp_path) == []


def test_a_request_outside_a_trial_is_refused(tmp_path: Path) -> None:
    with new_writer(tmp_path / "run.sqlite") as writer:
        with pytest.raises(RecordError, match="before its trial"):
            writer.begin_request(Read(("voltage.sense",), 1, 1.0), 0.0)
        writer.begin_trial(0, "soak", "{}")
        seq = writer.begin_request(Read(("voltage.sense",), 1, 1.0), 0.0)
        writer.add_readings(seq, 0, tick(0))
