"""The computer has no memory left in the middle of a run: bench without energy, record complete."""

import os
import resource
import signal
import time
from pathlib import Path

from bench_apart import SAFE_WITHIN_S, apart, committed, events
from kills import wait_for

from sequencer.run.event_kinds import MAKE_SAFE, STOPPED

RECORD = "run.sqlite"


def address_space(pid: int) -> int:
    """Return what a process has of it, in bytes (proc(5), VmSize)."""
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmSize"))


def test_it_ends_safe_and_can_go_on(tmp_path: Path) -> None:
    with apart(tmp_path) as table:
        process = table.run(RECORD)
        record = tmp_path / RECORD
        wait_for(lambda: record.exists() and len(committed(record)) > 100)
        before = committed(record)
        resource.prlimit(process.pid, resource.RLIMIT_AS, (address_space(process.pid),) * 2)
        assert process.wait() == 5, table.errors()
        assert table.without_energy()
        assert "Traceback" not in table.errors()
        told = dict(events(record)[-2:])
        assert "no memory left" in told[STOPPED]
        assert "Made safe, verified" in told[MAKE_SAFE]
        assert committed(record)[: len(before)] == before
        code, _ = table.finish("resume", RECORD, "--cautions-read", "--json")
        assert code in (0, 1, 3), table.errors()


def test_the_guardian_makes_safe_without_memory_left(tmp_path: Path) -> None:
    with apart(tmp_path) as table:
        process = table.run(RECORD)
        record = tmp_path / RECORD
        wait_for(lambda: record.exists() and len(committed(record)) > 100)
        (guardian,) = table.guardians()
        resource.prlimit(guardian, resource.RLIMIT_AS, (address_space(guardian),) * 2)
        os.kill(process.pid, signal.SIGKILL)
        assert table.seconds_to_safe(time.monotonic()) < SAFE_WITHIN_S
        wait_for(lambda: not table.guardians())
        assert events(record)[-1][1].startswith("By the guardian: Made safe, verified")
