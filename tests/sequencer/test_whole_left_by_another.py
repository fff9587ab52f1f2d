"""A bench that a dead run left energised, when what comes next is refused or can't begin."""

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

import pytest
from bench_apart import Apart, apart, events
from kills import SHORT, count, wait_for
from test_whole_resume_made_safe_first import RECORD, WORDS, crashed, energise, energised

from sequencer.command_line import resume
from sequencer.command_line.app import main
from sequencer.documents.load import load_profile
from sequencer.record.read import RecordReader
from sequencer.record.write import RecordWriter
from sequencer.run.bench_lock import FOLDER_VARIABLE, Owner, lock_file
from sequencer.run.event_kinds import MAKE_SAFE
from sequencer.run.refused import may_be_energised
from sequencer.run.safe_job_of import safe_job_of


@pytest.fixture
def table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Apart]:
    """A bench with energy whose locks name a dead run; neither it nor its guardian is there."""
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "locks"))
    with apart(tmp_path) as found:
        name_a_dead_run(found)
        energise(found)
        yield found


def name_a_dead_run(table: Apart) -> None:
    (table.folder / "locks").mkdir()
    bench = load_profile(table.folder / "profile.toml").bench
    job = safe_job_of(bench, table.folder / RECORD)
    dead = replace(Owner.here(job), pid=1, started="0")
    for address in job.addresses:
        lock_file(address).write_text(json.dumps(asdict(dead)))


def names(table: Apart) -> list[str]:
    return [path.name for path in (table.folder / "locks").iterdir() if path.read_text()]


def said(table: Apart) -> str:
    return " ".join(table.errors().split())


def test_a_new_run_whose_record_can_not_be_made_makes_safe_first(table: Apart) -> None:
    (table.folder / "new.sqlite-wal").write_text("of another record")
    code, _ = table.finish("run", "profile.toml", "--record", "new.sqlite", "--cautions-read")
    assert code == 2, said(table)
    assert "new.sqlite-wal" in said(table)
    assert "The bench may still be energised: making it safe first" in said(table)
    assert "First: Made safe, verified" in said(table)
    assert table.without_energy()
    assert not names(table)


def test_a_run_that_is_refused_before_the_bench_is_opened_names_the_dead(table: Apart) -> None:
    words = ("run", "profile.toml", "--record", "served.txt", "--cautions-read")
    code, _ = table.finish(*words)
    assert code == 2
    assert "A run that died may have left its bench energised: process 1 of " in said(table)
    assert said(table).endswith("Make it safe: steadyrail make-safe")
    assert energised(table)
    assert table.finish("make-safe")[0] == 0
    (table.folder / "errors.txt").unlink()
    table.finish(*words)
    assert "A run that died" not in said(table), "there is no dead run any more"


def test_make_safe_tells_the_record_of_the_dead_run(table: Apart) -> None:
    record = crashed(table, {})
    assert table.finish("make-safe")[0] == 0
    kind, text = events(record)[-1]
    assert kind == MAKE_SAFE
    assert text.startswith("By steadyrail make-safe: Made safe, verified")
    with RecordReader.open(record) as reader:
        assert not may_be_energised(reader)


def test_a_resume_without_the_cautions_names_make_safe(table: Apart) -> None:
    with RecordWriter.reopen(crashed(table, {})) as writer:
        writer.event(1.0, MAKE_SAFE, "note", "Made safe, verified", {"verified": 1})
    assert table.finish("resume", RECORD)[0] == 2
    assert f"left its bench energised: steadyrail make-safe {RECORD}" in said(table)
    assert energised(table)


@pytest.mark.parametrize("moved", [False, True])
def test_a_refused_resume_of_a_record_that_lost_its_newest_rows(
    table: Apart, *, moved: bool
) -> None:
    """The record knows of no energy, but the bench's locks name a run that was not safe."""
    with RecordWriter.reopen(crashed(table, {})) as writer:
        writer.event(1.0, MAKE_SAFE, "note", "Made safe, verified", {"verified": 1})
    with (table.folder / "profile.toml").open("a") as profile:
        profile.write("\n# another hand\n")
    name = "moved.sqlite" if moved else RECORD
    (table.folder / RECORD).rename(table.folder / name)
    code, _ = table.finish("resume", name, *WORDS[2:])
    assert code == 2, said(table)
    assert "profile document" in said(table)
    assert "First: Made safe, verified" in said(table)
    assert table.without_energy()
    assert not names(table)


def test_interrupted_while_it_loads_a_resume_says_that_the_bench_may_be_energised() -> None:
    code = (
        "import os, signal, sys\n"
        "sys.argv = ['steadyrail', 'resume', 'run.sqlite']\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "from sequencer.command_line import start\n"
        "real = signal.signal\n"
        "def at_once(number, handler):\n"
        "    real(number, handler)\n"
        "    os.kill(os.getpid(), signal.SIGINT)\n"
        "start.signal.signal = at_once\n"
        "start.main()\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 130, done.stderr
    assert "may have left its bench energised: steadyrail make-safe RECORD" in done.stderr


def test_interrupted_later_it_names_the_dead(
    table: Apart, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(sys, "argv", ["steadyrail", "resume", "run.sqlite"])
    monkeypatch.setattr(resume, "run", interrupted)
    (table.folder / RECORD).write_text("")
    monkeypatch.chdir(table.folder)
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 130
    assert "energised: process 1 of " in capsys.readouterr().err


@pytest.mark.parametrize("way", ["deleted", "moved"])
def test_a_record_that_vanishes_ends_its_run_at_once(tmp_path: Path, way: str) -> None:
    with apart(tmp_path, profile=SHORT) as table:
        process = table.run(RECORD)
        record = tmp_path / RECORD
        wait_for(lambda: record.exists() and count(record) > 20)
        if way == "deleted":
            record.unlink()
        else:
            record.rename(tmp_path / "elsewhere.sqlite")
        assert process.wait() == 5, said(table)
        assert "is no longer the file that this run writes: No such file" in said(table)
        assert "Made safe, verified" in said(table)
        assert table.without_energy()
        wait_for(lambda: not table.guardians())
        if way == "moved":
            assert any(kind == "stopped" for kind, _ in events(tmp_path / "elsewhere.sqlite"))


def test_make_safe_says_what_it_did_where_its_output_can_not_be_written(
    table: Apart,
) -> None:
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run(
            [sys.executable, "-m", "sequencer.command_line.app", "make-safe", "bench.toml"],
            cwd=table.folder,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
            timeout=60,
        )
    assert done.returncode == 0, done.stderr
    assert "No space left on device" in done.stderr
    assert "Made safe, verified" in done.stderr
    assert table.without_energy()
