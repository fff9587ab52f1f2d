"""A disk that fills up or fails during a run: stopped, safe, and the record can be read."""

import os
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench_apart import Apart, apart, committed
from called import steadyrail
from kills import SHORT, begun, wait_for

from sequencer.errors import RecordError
from sequencer.record.seal import verify
from sequencer.record.write import RecordWriter
from sequencer.run.notify import Notifier

SMALL_BYTES = 1_800_000
"""More than the load steps take with the side file of the record, less than the soak after them."""


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system that fills up; mounting one is for root only."""
    place = tmp_path / "small"
    place.mkdir()
    size = f"size={SMALL_BYTES}"
    words = ["mount", "-t", "tmpfs", "-o", size, "tmpfs", str(place)]
    mounted = os.geteuid() == 0 and subprocess.run(words, check=False).returncode == 0
    if not mounted:
        pytest.skip("no file system can be mounted here; the limit on file size is tested instead")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


def assert_stopped_safe_and_readable(table: Apart, code: int, record: Path) -> None:
    assert code == 5, table.errors()
    assert table.seconds_to_safe(time.monotonic()) < 1.0  # safe when the program has ended
    said = table.errors()
    assert "can't be written" in said
    assert "Made safe, verified" in said
    assert "Traceback" not in said
    assert len(committed(record)) > 100
    assert begun(record) == ("load_steps", "soak"), "it was to fill up during the soak"
    wait_for(lambda: not table.guardians())


def test_a_disk_that_fills_up(tmp_path: Path, small_disk: Path) -> None:
    with apart(tmp_path, profile=SHORT) as table:
        process = table.run(str(small_disk / "run.sqlite"))
        assert_stopped_safe_and_readable(table, process.wait(), small_disk / "run.sqlite")


def test_a_file_that_may_not_grow_and_with_space_again_the_run_goes_on(tmp_path: Path) -> None:
    """The kernel's limit on file size stands in for a quota: writes fail in the same place."""
    with apart(tmp_path, profile=SHORT) as table:
        record = tmp_path / "run.sqlite"
        process = table.run("run.sqlite", most_bytes=SMALL_BYTES)
        assert_stopped_safe_and_readable(table, process.wait(), record)
        before = committed(record)
        code, _ = table.finish("resume", "run.sqlite", "--cautions-read")
        assert code in {0, 1, 3}, table.errors()
        assert committed(record)[: len(before)] == before


def test_a_folder_that_can_not_be_written_stops_before_anything(tmp_path: Path) -> None:
    with apart(tmp_path, profile=SHORT) as table:
        code, _ = table.finish(
            "run", "profile.toml", "--record", "/proc/run.sqlite", "--cautions-read"
        )
        assert code == 2
        assert "Traceback" not in table.errors()
        assert table.ask("load", "INPut?") == "0"


SOAK = """
[profile]
name = "short"
unit = "w-17"
bench = "simulated"

[outputs]
report = false

[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "10 s"
duration = "3 min"
"""
FULL = "run.sqlite can't be written: database or disk is full."


def full(*_: object, **__: object) -> None:
    raise RecordError(FULL)


@pytest.mark.parametrize("method", ["finish", "_end"])
def test_a_disk_that_is_full_once_all_is_measured(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, method: str
) -> None:
    """Between the last reading and the seal: what was measured counts, and a resume seals it."""
    (tmp_path / "profile.toml").write_text(SOAK)
    told: list[str] = []
    monkeypatch.setattr(Notifier, "tell", lambda _, subject, __: told.append(subject))
    with monkeypatch.context() as fails:
        fails.setattr(RecordWriter, method, full)
        done = steadyrail("run", "profile.toml", "--record", "run.sqlite", cwd=tmp_path)
    said = " ".join((done.stdout + done.stderr).split())
    assert done.returncode == 5, said
    assert FULL in said
    assert "Once that is mended: steadyrail resume run.sqlite" in said
    if method == "finish":
        assert "not covered" in done.stdout, "the verdicts were not shown"
        assert "profile short: Record not sealed" in done.stdout
        assert told == ["started", "finished, record not sealed"]
    else:
        assert told == ["started", "ended without a verdict"]
    before = committed(tmp_path / "run.sqlite")
    done = steadyrail("resume", "run.sqlite", cwd=tmp_path)
    assert done.returncode == 3, done.stderr
    assert verify(tmp_path / "run.sqlite").intact
    assert committed(tmp_path / "run.sqlite")[: len(before)] == before
