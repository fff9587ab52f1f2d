"""One run per bench: who holds it is named, and a dead owner's name stops nobody."""

import fcntl
import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from bench_apart import apart
from called import steadyrail
from test_guardian_watch import job

from sequencer.errors import ComputerFailed, UsageError
from sequencer.guardian import rescue
from sequencer.run.bench_lock import (
    FOLDER_VARIABLE,
    BenchLock,
    Owner,
    job_left_for,
    left_by_the_dead,
    lock_bench,
    lock_file,
    owners,
)
from sequencer.run.visit import visiting

HOLD = """
import sys, time
sys.path.insert(0, {tests!r})
from test_run_bench_lock import job, lock_bench
held = lock_bench(job("theirs.sqlite"))
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "locks"))
    return tmp_path / "locks"


@pytest.fixture
def other() -> Iterator["subprocess.Popen[str]"]:
    """Another process that holds the bench."""
    code = HOLD.format(tests=str(Path(__file__).parent))
    with subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        yield process
        process.kill()


def test_a_second_run_is_refused_with_the_owner_named(other: "subprocess.Popen[str]") -> None:
    with pytest.raises(UsageError, match=rf"held by process {other.pid} of .* on .* since 20"):
        lock_bench(job())
    (owner,) = owners()
    assert owner.alive
    assert owner.record.endswith("theirs.sqlite")


def test_the_lock_of_a_dead_process_is_taken_over_and_said(other: "subprocess.Popen[str]") -> None:
    other.send_signal(signal.SIGKILL)
    other.wait()
    lock = lock_bench(job())
    assert [owner.pid for owner in lock.left_behind] == [other.pid]
    assert not lock.left_behind[0].alive
    lock.release(safe=True)
    assert owners() == ()


def test_a_bench_that_was_not_shown_to_be_safe_keeps_its_last_owner() -> None:
    lock_bench(job()).release(safe=False)
    again = lock_bench(job())
    assert [owner.pid for owner in again.left_behind] == [os.getpid()]
    again.release(safe=True)


def test_benches_that_share_one_instrument_exclude_each_other() -> None:
    meter = replace(job().spec.instruments[0], name="meter", address="TCPIP0::10.0.0.9::1::SOCKET")
    spec = replace(job().spec, instruments=(*job().spec.instruments, meter))
    larger = replace(job(), spec=spec)
    lock = lock_bench(larger)
    with pytest.raises(UsageError, match="in use"):
        lock_bench(job())
    lock.release(safe=True)
    lock_bench(job()).release(safe=True)


@pytest.mark.parametrize("content", ["", "not JSON", "[]", json.dumps({"pid": 1})])
def test_what_stands_in_a_lock_file_is_only_a_name(folder: Path, content: str) -> None:
    folder.mkdir()
    lock_file(job().addresses[0]).write_text(content)
    lock = lock_bench(job())
    assert lock.left_behind == ()
    lock.release(safe=True)


def test_a_folder_that_can_not_be_had_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "file" / "locks"))
    with pytest.raises(ComputerFailed, match=FOLDER_VARIABLE):
        lock_bench(job())


def test_a_link_laid_in_the_way_is_not_followed(folder: Path, tmp_path: Path) -> None:
    folder.mkdir()
    victim = tmp_path / "victim"
    victim.write_text("precious")
    lock_file(job().addresses[0]).symlink_to(victim)
    with pytest.raises(ComputerFailed, match="can't be locked"):
        lock_bench(job())
    assert victim.read_text() == "precious"


def test_a_record_that_leads_in_a_circle_is_no_fault(tmp_path: Path) -> None:
    lock_bench(job("theirs.sqlite")).release(safe=False)
    circle = tmp_path / "circle.sqlite"
    circle.symlink_to(circle)
    assert job_left_for(circle) is None


def test_the_dead_are_told_from_who_holds_a_bench(other: "subprocess.Popen[str]") -> None:
    assert not left_by_the_dead(), "its owner lives"
    other.kill()
    other.wait()
    assert [owner.pid for owner in left_by_the_dead(job())] == [other.pid]
    assert [owner.pid for owner in left_by_the_dead()] == [other.pid]
    held = os.open(lock_file(job().addresses[0]), os.O_RDWR)
    fcntl.flock(held, fcntl.LOCK_EX)  # as its guardian does
    try:
        assert not left_by_the_dead()
    finally:
        os.close(held)


BENCH_OF_ITS = """
[bench]
name = "theirs"
operator = "none"
make_safe = ["load"]

[instruments.load]
role = "load"
dialect = "scpi-load"
address = "{address}"

[channels."voltage.load"]
instrument = "load"
function = "voltage"

[load]
instrument = "load"
current = "5 A"
power = "150 W"
voltage = "60 V"
lowest_voltage = "1 V"
"""


@pytest.mark.parametrize("command", ["exercise", "probe"])
def test_exercise_and_probe_leave_a_bench_in_use_alone(
    other: "subprocess.Popen[str]", tmp_path: Path, command: str
) -> None:
    address = job().addresses[0].replace("TCPIP0", "tcpip")  # another way to write the same
    document = tmp_path / "bench.toml"
    document.write_text(BENCH_OF_ITS.format(address=address))
    word = {"exercise": str(document), "probe": address}[command]
    done = steadyrail(command, word, cwd=tmp_path)
    assert done.returncode == 2
    assert f"held by process {other.pid} of" in " ".join(done.stderr.split())


def test_a_visit_keeps_others_out_and_the_name_of_a_dead_run_in() -> None:
    lock_bench(job()).release(safe=False)
    with visiting(job().addresses), pytest.raises(UsageError, match="in use"):
        lock_bench(job())
    again = lock_bench(job())
    assert [owner.pid for owner in again.left_behind] == [os.getpid()]
    again.release(safe=True)


def test_a_start_that_is_refused_leaves_the_names_as_they_were(
    other: "subprocess.Popen[str]",
) -> None:
    other.send_signal(signal.SIGKILL)
    other.wait()
    before = owners()
    lock_bench(job("new.sqlite")).put_back()
    assert owners() == before
    assert before[0].record.endswith("theirs.sqlite")


def test_a_lock_that_another_process_took_meanwhile_is_known_to_be_lost(
    other: "subprocess.Popen[str]",
) -> None:
    stale = BenchLock((os.open(lock_file(job().addresses[0]), os.O_RDWR),), ())
    assert not stale.is_ours()
    other.send_signal(signal.SIGKILL)
    other.wait()
    assert stale.is_ours()
    stale.release(safe=True)


def test_a_guardian_touches_no_bench_that_another_process_has(
    other: "subprocess.Popen[str]", tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert other.pid
    monkeypatch.setattr(rescue, "carry_out", lambda *_a, **_k: pytest.fail("it was touched"))
    handle = os.open(lock_file(job().addresses[0]), os.O_RDWR)
    try:
        assert rescue.rescue(job(str(tmp_path / "mine.sqlite")), "it died", (handle,)) == 5
    finally:
        os.close(handle)
    told = (tmp_path / "mine.sqlite.guardian.txt").read_text()
    assert "Another process has the bench now" in told
    assert owners()[0].record.endswith("theirs.sqlite")


@pytest.mark.parametrize("given", ["{}", "[]", "7", '{"bench": 1}', "not JSON"])
def test_what_an_older_version_noted_is_said_not_tried(
    folder: Path, tmp_path: Path, given: str
) -> None:
    folder.mkdir()
    owner = {**asdict(Owner.here(job())), "job": given}
    lock_file(job().addresses[0]).write_text(json.dumps(owner))
    done = steadyrail("make-safe", cwd=tmp_path)
    assert done.returncode == 2
    assert "Another version of the program left a bench" in done.stderr
    assert "steadyrail make-safe BENCH" in done.stderr


def test_a_start_whose_record_can_not_be_made_leaves_no_name(folder: Path, tmp_path: Path) -> None:
    with apart(tmp_path) as table:
        name = "r" * 250  # a name that may be, and one beside it that may not
        code, _ = table.finish("run", "profile.toml", "--record", name, "--cautions-read")
        assert code == 2, table.errors()
        assert "can't be written" in table.errors()
        assert not any(path.read_text() for path in folder.iterdir())


@pytest.mark.parametrize(
    "given",
    [
        json.dumps({**asdict(Owner.here(job())), "job": []}),
        json.dumps({**asdict(Owner.here(job())), "record": 5}),
        json.dumps({**asdict(Owner.here(job())), "record": "a\0b"}),
        json.dumps({**asdict(Owner.here(job())), "pid": "1"}),
        "[" * 200_000,
        "\x01\x02 no text at all",
    ],
    ids=["job", "record", "zero", "pid", "deep", "bytes"],
)
def test_what_anybody_may_have_put_there_is_named_and_harms_nothing(
    folder: Path, tmp_path: Path, given: str
) -> None:
    folder.mkdir()
    (folder / "strange.lock").write_text(given)
    os.mkfifo(folder / "pipe.lock")
    assert owners() == ()
    assert job_left_for(tmp_path / "run.sqlite") is None
    done = steadyrail("make-safe", cwd=tmp_path)
    assert done.returncode == 2
    assert "can't be read" in done.stderr
    assert "strange.lock" in done.stderr


def test_of_two_runs_with_one_record_the_newest_counts(folder: Path, tmp_path: Path) -> None:
    record = str(tmp_path / "run.sqlite")
    folder.mkdir()
    for name, since, bench in (("a", "2026-02-01", "new"), ("b", "2026-01-01", "old")):
        theirs = replace(job(record), bench=bench)
        owner = replace(Owner.here(theirs), since=since)
        (folder / f"{name}.lock").write_text(json.dumps(asdict(owner)))
    found = job_left_for(Path(record))
    assert found is not None
    assert found.bench == "new"
