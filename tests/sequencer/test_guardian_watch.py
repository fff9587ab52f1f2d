"""The guardian's own rules: how long silence may last, and what it leaves alone."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec
from sequencer.errors import BenchFailed, GuardianLost
from sequencer.guardian.keeper import Guardian
from sequencer.guardian.signs import SILENCE_S, longest_progress_s
from sequencer.run.safe_job import SafeJob

NOWHERE = "TCPIP0::127.0.0.1::9::SOCKET"


def job(record: str = "") -> SafeJob:
    spec = BenchSpec(
        instruments=(InstrumentSpec("load", "load", "scpi-load", NOWHERE),),
        channels=(ChannelSpec("current.load", "load", "current", "A"),),
    )
    return SafeJob("bench", record, spec, ("load",), ("current.load",), ())


def wait_for_check(guardian: Guardian, limit_s: float) -> float:
    begin = time.monotonic()
    while time.monotonic() - begin < limit_s:
        try:
            guardian.check()
        except GuardianLost:
            break
        time.sleep(0.02)
    return time.monotonic() - begin


def test_a_job_comes_back_from_its_text_as_it_was() -> None:
    assert SafeJob.from_json(job("r.sqlite").as_json()) == job("r.sqlite")


def test_progress_may_stay_away_as_long_as_the_slowest_query_allows() -> None:
    slow = InstrumentSpec("meter", "voltmeter", "scpi-voltmeter", NOWHERE, timeout_s=20.0)
    spec = BenchSpec(instruments=(slow,), channels=())
    assert longest_progress_s(spec) > 3 * 20.0
    assert longest_progress_s(job().spec) < longest_progress_s(spec)


def test_progress_may_stay_away_as_long_as_a_dialect_allows_one_question() -> None:
    clock = InstrumentSpec("clock", "time_base", "scpi-time-base", NOWHERE, timeout_s=0.25)
    asked_again = 2 * 10.0
    assert longest_progress_s(BenchSpec(instruments=(clock,), channels=())) > asked_again


def test_ctrl_c_on_the_terminal_does_not_reach_it_and_dismissed_it_leaves() -> None:
    guardian = Guardian(job())
    guardian.wait_until_ready()
    try:
        assert os.getsid(guardian.pid) == guardian.pid
        os.kill(guardian.pid, signal.SIGINT)
        os.kill(guardian.pid, signal.SIGHUP)
        time.sleep(0.3)
        guardian.check()
    finally:
        guardian.dismiss()
    assert not Path(f"/proc/{guardian.pid}").exists()


@pytest.mark.parametrize(
    ("number", "limit_s"), [(signal.SIGKILL, 1.0), (signal.SIGSTOP, SILENCE_S + 2.0)]
)
def test_its_death_and_its_silence_are_noticed(number: signal.Signals, limit_s: float) -> None:
    guardian = Guardian(job())
    guardian.wait_until_ready()
    os.kill(guardian.pid, number)
    assert wait_for_check(guardian, 3 * limit_s) < limit_s
    guardian.dismiss()


def test_one_that_does_not_start_stops_the_start(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", "/bin/true")
    with pytest.raises(BenchFailed, match="Nothing was energised"):
        Guardian(job()).wait_until_ready()


def test_a_bench_out_of_reach_is_tried_again_and_told_aloud(tmp_path: Path) -> None:
    """The sequencer dies; nothing answers: the guardian goes on, says so, and writes it down."""
    record = tmp_path / "run.sqlite"
    code = (
        "import os, signal; from test_guardian_watch import job, Guardian;"
        f"g = Guardian(job({str(record)!r})); g.wait_until_ready(); print(g.pid, flush=True);"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    done = subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parent)},
    )
    assert done.stdout is not None
    pid = int(done.stdout.readline())
    done.wait()
    done.stdout.close()
    note = Path(f"{record}.guardian.txt")
    try:
        end = time.monotonic() + 20.0
        while not (note.exists() and note.read_text().count("NOT VERIFIED") >= 2):
            assert time.monotonic() < end
            time.sleep(0.05)
        assert Path(f"/proc/{pid}").exists()
        assert "Switch the unit off at the line yourself" in note.read_text()
    finally:
        os.kill(pid, signal.SIGKILL)
