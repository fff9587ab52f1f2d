"""The computer under the run: clocks that are set, suspension, terminals that go away."""

import os
import signal
from pathlib import Path

import pytest
from record_samples import new_writer
from stand_in_bench import StandInBench

from sequencer.errors import ComputerFailed
from sequencer.record.write import RecordWriter
from sequencer.run import watch as module
from sequencer.run.stop import Stop
from sequencer.run.watch import Watch


class Clocks:
    """Monotonic, boot and wall time that a test moves."""

    def __init__(self) -> None:
        self.now = [100.0, 100.0, 1000.0]

    def __call__(self) -> tuple[float, float, float]:
        return self.now[0], self.now[1], self.now[2]

    def pass_(self, monotonic: float, boot: float, wall: float) -> None:
        self.now = [a + b for a, b in zip(self.now, (monotonic, boot, wall), strict=True)]


@pytest.fixture
def clocks(monkeypatch: pytest.MonkeyPatch) -> Clocks:
    clocks = Clocks()
    monkeypatch.setattr(module, "_clocks", clocks)
    monkeypatch.setattr(module, "SELDOM_S", float("-inf"))
    return clocks


@pytest.fixture
def writer(tmp_path: Path) -> RecordWriter:
    return new_writer(tmp_path / "run.sqlite")


def kinds(writer: RecordWriter) -> list[str]:
    rows = writer._batch.connection.execute("SELECT kind FROM events ORDER BY id")
    return [row[0] for row in rows]


def watch(writer: RecordWriter) -> Watch:
    return Watch(StandInBench({}), writer, Stop(), None, gap_s=60.0)


@pytest.mark.parametrize("step", [3600.0, -3600.0])
def test_a_clock_that_is_set_is_noted_and_no_more(
    clocks: Clocks, writer: RecordWriter, step: float
) -> None:
    looking = watch(writer)
    clocks.pass_(1.0, 1.0, 1.0 + step)
    looking.check()
    clocks.pass_(1.0, 1.0, 1.0)
    looking.check()
    assert kinds(writer) == ["clock step"]


def test_a_short_suspension_is_a_gap_and_a_long_one_ends_the_run(
    clocks: Clocks, writer: RecordWriter
) -> None:
    looking = watch(writer)
    clocks.pass_(1.0, 31.0, 31.0)
    looking.check()
    assert kinds(writer) == ["suspended"]
    clocks.pass_(1.0, 300.0, 300.0)
    with pytest.raises(ComputerFailed, match="suspended for 299 s"):
        looking.check()
    assert kinds(writer) == ["suspended", "suspended"]


def test_time_that_simply_passes_is_no_event(clocks: Clocks, writer: RecordWriter) -> None:
    looking = watch(writer)
    clocks.pass_(5000.0, 5000.0, 5000.2)
    looking.check()
    assert kinds(writer) == []


def test_a_run_that_was_told_to_outlive_its_terminal_does() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with Stop() as stop:
            os.kill(os.getpid(), signal.SIGHUP)
            stop.check()
    finally:
        signal.signal(signal.SIGHUP, before)
