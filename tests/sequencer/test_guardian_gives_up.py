"""A guardian whose bench is gone tries for a while, says so in the record, and ends."""

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from record_samples import new_writer

from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec
from sequencer.errors import Exit
from sequencer.guardian import rescue as guardian
from sequencer.record.read import RecordReader
from sequencer.run.event_kinds import MAKE_SAFE, STOPPED
from sequencer.run.safe_job import SafeJob
from sequencer.run.safe_report import SafeReport, SafeStep


def job(record: Path, port: int) -> SafeJob:
    address = f"TCPIP0::127.0.0.1::{port}::SOCKET"
    spec = BenchSpec(
        instruments=(InstrumentSpec("load", "load", "scpi-load", address, timeout_s=0.05),),
        channels=(ChannelSpec("current.load", "load", "current", "A"),),
    )
    return SafeJob("bench", str(record), spec, ("load",), ("current.load",), ())


@contextmanager
def nobody() -> Iterator[int]:
    """Yield a port on which nobody listens, and nobody will meanwhile."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        yield taken.getsockname()[1]


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "run.sqlite"
    new_writer(path).close(ended=False)
    return path


def made_safe(record: Path) -> list[tuple[str, str, str]]:
    with RecordReader.open(record) as reader:
        kinds = (MAKE_SAFE, STOPPED)
        return [(e.kind, e.severity, e.text) for e in reader.events if e.kind in kinds]


def test_a_bench_that_is_gone_is_tried_again_and_then_given_up(
    record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tries = []
    whole = guardian.carry_out
    monkeypatch.setattr(
        guardian,
        "carry_out",
        lambda *a, **k: tries.append(1) or whole(*a, **k),  # type: ignore[func-returns-value]
    )
    monkeypatch.setattr(guardian, "PAUSES_S", (0.05,))
    with nobody() as port:
        code = guardian.rescue(job(record, port), "the run died", (), silent_s=0.3)
    assert code == Exit.INSTRUMENT
    assert len(tries) >= guardian.LEAST_TRIES
    stopped, first, last = made_safe(record)
    assert "the run died" in stopped[2]
    assert first[1] == last[1] == "alarm"
    assert "Given up" not in first[2]
    assert f"Given up after {len(tries)} tries, as nothing of the bench" in last[2]
    assert "NOT VERIFIED" in last[2]
    said = (record.parent / (record.name + guardian.NOTE_SUFFIX)).read_text()
    assert "Given up" in said.splitlines()[-1]
    assert "Switch the unit off at the line yourself" in said.splitlines()[-1]


def test_one_that_answers_but_is_not_proven_is_given_up_much_later(
    record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Something answers: silence never ends it, only the longest time does."""
    report = SafeReport((SafeStep("load off", verified=False, detail="still 3 A"),), reached=True)
    monkeypatch.setattr(guardian, "carry_out", lambda *_a, **_k: report)
    monkeypatch.setattr(guardian, "PAUSES_S", (0.05,))
    with nobody() as port:
        code = guardian.rescue(job(record, port), "the run died", (), silent_s=0.05, longest_s=0.4)
    assert code == Exit.INSTRUMENT
    assert "could not be verified within" in made_safe(record)[-1][2]


def test_it_acts_before_it_talks(record: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A terminal that stands still (Ctrl-S, a frozen link) holds whoever writes to it."""
    done: list[str] = []
    whole = guardian.carry_out
    monkeypatch.setattr(
        guardian,
        "carry_out",
        lambda *a, **k: done.append("acted") or whole(*a, **k),  # type: ignore[func-returns-value]
    )
    monkeypatch.setattr(guardian, "PAUSES_S", (0.05,))

    def talk(_self: object, text: str) -> int:
        done.append("talked")
        return len(text)

    monkeypatch.setattr(guardian.Quiet, "write", talk)
    with nobody() as port:
        guardian.rescue(job(record, port), "the run died", (), silent_s=0.1)
    assert done[0] == "acted"
    assert "talked" in done


def test_a_fault_in_one_try_is_told_and_the_next_one_made(
    record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = SafeReport((SafeStep("load off", verified=True, detail="0 A"),), reached=True)
    tries = iter([MemoryError("none left"), KeyError("x"), done])

    def attempt(*_: object, **__: object) -> SafeReport:
        found = next(tries)
        if isinstance(found, Exception):
            raise found
        return found

    monkeypatch.setattr(guardian, "carry_out", attempt)
    monkeypatch.setattr(guardian, "PAUSES_S", (0.01,))
    with nobody() as port:
        assert guardian.rescue(job(record, port), "the run died", ()) == Exit.PASSED
    told = made_safe(record)
    assert "MemoryError: none left" in told[1][2]
    assert told[-1][1] == "note"
