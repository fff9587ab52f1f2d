"""What was acknowledged survives a killed writer and a full disk."""

import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from record_samples import CHANNELS, READ, new_writer, tick, write_run

from sequencer.errors import RecordError
from sequencer.record.files import opened
from sequencer.record.read import RecordReader
from sequencer.record.write import RecordWriter

KILLS = 10

WRITER = """
import sys
from pathlib import Path
sys.path.insert(0, {tests!r})
from record_samples import CUT_OFF, new_writer, tick
writer = new_writer(Path(sys.argv[1]))
writer.begin_trial(0, "soak", "{{}}")
seq = writer.begin_request(CUT_OFF, 0.0)
number = 0
while True:
    for _ in range(1 + number % 7):
        writer.add_readings(seq, number, tick(number))
        number += 1
    writer.commit()
    print(writer.acknowledged, flush=True)
"""


def killed_writer(path: Path, after: int) -> int:
    """Let a process write; kill it in full run after some lines; return what it acknowledged."""
    code = WRITER.format(tests=str(Path(__file__).parent))
    words = [sys.executable, "-c", code, str(path)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        lines = [process.stdout.readline() for _ in range(after)]
        process.send_signal(signal.SIGKILL)
        lines += process.stdout.readlines()
    assert process.returncode == -signal.SIGKILL
    return int([line for line in lines if line.endswith("\n")][-1])


def test_nothing_acknowledged_is_lost_when_the_writer_is_killed(tmp_path: Path) -> None:
    for kill in range(KILLS):
        path = tmp_path / f"run{kill}.sqlite"
        acknowledged = killed_writer(path, 1 + 11 * kill)
        assert acknowledged > 0
        wal = path.with_name(path.name + "-wal")
        assert wal.stat().st_size > 0
        before = path.read_bytes(), wal.read_bytes()
        with RecordReader.open(path) as reader:
            (step,) = reader.steps(0)
            assert reader.ended == ""
        found = sum(values.size for values in step.readings.value.values())
        assert found >= acknowledged
        assert found % len(CHANNELS) == 0
        assert step.readings.asked["voltage.sense"].tolist() == [
            number + 0.001 for number in range(found // len(CHANNELS))
        ]
        assert (path.read_bytes(), wal.read_bytes()) == before, "reading wrote to the record"


def test_a_run_goes_on_where_a_killed_writer_left_off(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    killed_writer(path, 20)
    with RecordReader.open(path) as reader:
        before = reader.steps(0)[0].readings.value["voltage.sense"].size
    with RecordWriter.reopen(path) as writer:
        writer.begin_trial(0, "soak", "{}")
        seq = writer.begin_request(READ, 0.0)
        writer.add_readings(seq, 0, tick(0))
    with RecordReader.open(path) as reader:
        first, second = reader.steps(0)
    assert first.readings.value["voltage.sense"].size == before
    assert second.readings.value["voltage.sense"].size == 1


def test_a_copy_is_read_where_side_files_can_not_be_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A folder that may only be read can't be had as root, so the refusal is put in by hand."""
    path = tmp_path / "run.sqlite"
    killed_writer(path, 20)
    with RecordReader.open(path) as reader:
        expected = len(reader.frame())
    from sequencer.record import files  # noqa: PLC0415

    real = files.sqlite3.connect

    def refuse(address: str, **options: object) -> object:
        return real(address.replace(str(path), "/nowhere/run.sqlite"), **options)  # type: ignore[call-overload]

    monkeypatch.setattr(files.sqlite3, "connect", refuse)
    with RecordReader.open(path) as reader:
        assert len(reader.frame()) == expected > 0


def test_a_record_is_read_while_it_is_written(tmp_path: Path) -> None:
    path = tmp_path / "run.sqlite"
    writer = new_writer(path)
    write_run(writer)
    with RecordReader.open(path) as reader:
        assert len(reader.steps(0)) == 4
        writer.event(0.0, "late", "note", "written while it is read")
        assert len(reader.events) == 3
    writer.close()
    assert [place.name for place in tmp_path.iterdir()] == ["run.sqlite"]


def test_a_full_disk_is_told_and_leaves_the_record_readable(tmp_path: Path) -> None:
    """The kernel's limit on file size stands in for the disk: writes fail in the same place."""
    path = tmp_path / "run.sqlite"
    writer = new_writer(path)
    writer.begin_trial(0, "soak", "{}")
    seq = writer.begin_request(READ, 0.0)
    number = 0

    def fill() -> None:
        nonlocal number
        while number < 100_000:
            writer.add_readings(seq, number, tick(number))
            number += 1
            if number % 10 == 0:
                writer.commit()

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, hard))
    try:
        with pytest.raises(RecordError, match="can't be written") as caught:
            fill()
        acknowledged = writer.acknowledged
        assert acknowledged > 100
        assert f"{acknowledged} readings" in str(caught.value)
        with opened(path) as connection:
            assert connection.execute("SELECT count(*) FROM readings").fetchone() == (acknowledged,)
        with pytest.raises(RecordError, match="can't be written"):
            writer.event(0.0, "stopped", "alarm", "the disk is full")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    writer.close()  # there is space again: what waited is kept
    with RecordReader.open(path) as reader:
        assert len(reader.frame()) == 2 * number
        assert [event.kind for event in reader.events] == ["stopped"]


def test_a_second_writer_is_refused_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sequencer.record.hold.BUSY_S", 0.1)
    path = tmp_path / "run.sqlite"
    first = new_writer(path)
    with pytest.raises(RecordError, match="is being written by another process"):
        RecordWriter.reopen(path)
    first.event(1.0, "remark", "note", "it goes on")
    first.close(ended=False)
    RecordWriter.reopen(path).close()
