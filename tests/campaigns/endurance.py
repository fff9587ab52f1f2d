"""Whether memory stays flat over days at one reading a second: `make endurance`.

A Read keeps three doubles a reading and channel (the procedure gets them as arrays), 96 bytes a
tick of four channels; everything else of the run has to be constant, and so have guardian and
bench. The record grows by its rows alone. What figures need once the soak is over is told apart.
Writes OUT/samples.jsonl as it goes and OUT/endurance.md.
"""

import argparse
import json
import os
import sqlite3
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path
from shutil import rmtree
from typing import Self

sys.path.insert(0, str(Path(__file__).parent))
from ledger import Progress, behave, clock, commit
from short_bench import HEAD, run

DAY_S = 86_400
BYTES_A_TICK = 96
SLACK = 1.5
"""Arrays grow by steps of an eighth, and the record's pages are cached."""

CONSTANT_MIB = {"run": 12.0, "bench": 6.0, "guardian": 2.0}
"""Caches that fill in the first minutes."""

RECORD_BYTES_A_TICK = 600
"""Four channels of the soak each tick, and what guards look at every fifth: five rows."""

USUAL_BYTES_A_TICK = 350
"""Only for the time that is left."""

NAMES = {"simulated_bench": "bench", "guardian": "guardian"}
PERIOD_S = 2.0
SOAK_FROM, SOAK_TO = 0.1, 0.95
"""Of the record's final size: samples taken while the soak goes on."""

Sample = dict[str, float]


def memory_kib(pid: int, key: str = "VmRSS:") -> int:
    """Return a process's resident memory, 0 when it is gone."""
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in lines if line.startswith(key)), 0)


def children() -> dict[str, int]:
    """Return the processes that the run has started, by what they are."""
    found = {}
    for task in Path("/proc/self/task").iterdir():
        for pid in (task / "children").read_text().split():
            name = Path(f"/proc/{pid}/comm").read_text().strip()
            if name in NAMES:
                found[NAMES[name]] = int(pid)
    return found


def record_bytes(record: Path) -> int:
    files = [record, record.with_name(record.name + "-wal")]
    return sum(file.stat().st_size for file in files if file.exists())


class Watcher:
    """Samples memory and the record's size; only looks at /proc and files."""

    def __init__(self, record: Path, kept: Path, ticks: float) -> None:
        self._record, self._kept, self._ticks = record, kept, ticks
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self.samples: list[Sample] = []

    def __enter__(self) -> Self:
        self._kept.write_text("")
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()

    def _watch(self) -> None:
        begun = time.monotonic()
        while not self._over.wait(PERIOD_S):
            sample = {"at_s": round(time.monotonic() - begun, 1), "run": memory_kib(os.getpid())}
            try:
                sample |= {name: memory_kib(pid) for name, pid in children().items()}
            except OSError:
                continue  # one of them ended just now
            sample["record"] = record_bytes(self._record)
            self.samples.append(sample)
            with self._kept.open("a") as file:
                file.write(json.dumps(sample) + "\n")


def grown_mib(samples: Sequence[Sample], name: str) -> float:
    """Return by how much a process grew between the first and the last sample."""
    values = [sample[name] for sample in samples if name in sample]
    return (values[-1] - values[0]) / 1024 if values else float("nan")


def ticks_of(record: Path) -> int:
    """Return how many ticks a record holds; a soak that was ended early is judged by these."""
    with closing(sqlite3.connect(f"file:{record}?mode=ro", uri=True)) as base:
        query = (
            "SELECT count(*) FROM readings r JOIN channels c ON c.id = r.channel WHERE c.name = ?"
        )
        return int(base.execute(query, ("voltage.sense",)).fetchone()[0])


def judged(samples: Sequence[Sample], all_ticks: int) -> tuple[list[str], bool]:
    """Return lines that say how much each grew beside what it may, and whether all kept to it."""
    size = samples[-1]["record"]
    soak = [s for s in samples if SOAK_FROM * size <= s["record"] <= SOAK_TO * size]
    ticks = all_ticks * (soak[-1]["record"] - soak[0]["record"]) / size
    lines, kept = [], True
    for name, constant in CONSTANT_MIB.items():
        allowed = constant + (SLACK * ticks * BYTES_A_TICK / 2**20 if name == "run" else 0.0)
        grown = grown_mib(soak, name)
        kept = kept and grown <= allowed
        first = next(s[name] for s in soak if name in s) / 1024
        lines.append(f"- {name}: {first:.0f} MiB, grew by {grown:.1f} MiB, allowed {allowed:.1f}")
    a_tick = size / all_ticks
    kept = kept and a_tick <= RECORD_BYTES_A_TICK
    lines.append(
        f"- record: {size / 2**20:.0f} MiB, {a_tick:.0f} bytes a tick, "
        f"allowed {RECORD_BYTES_A_TICK}"
    )
    most = memory_kib(os.getpid(), "VmHWM:") / 1024
    lines.append(f"- for figures and seal after the soak the run needed at most {most:.0f} MiB")
    return lines, kept


def show_progress(bar: Progress, watcher: Watcher, ticks: float, over: threading.Event) -> None:
    """Tell each percent of the record's size as expected."""
    shown = 0
    while not over.wait(PERIOD_S):
        done = (
            watcher.samples[-1]["record"] / (ticks * USUAL_BYTES_A_TICK) if watcher.samples else 0.0
        )
        while shown < min(99, int(100 * done)):
            shown += 1
            bar.step(json.dumps(watcher.samples[-1]))


def main() -> int:
    """Run a soak and watch; the exit code is 1 when memory grows beyond the stated bounds."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=float, default=7.0)
    parser.add_argument("--out", type=Path, default=Path("out/endurance"))
    given = parser.parse_args()
    behave()
    given.out = given.out.resolve()  # the run goes to a folder of its own
    given.out.mkdir(parents=True, exist_ok=True)
    profile = (
        HEAD
        + '[[trials]]\ntrial = "soak"\nvoltage = "30 V"\ncurrent = "3 A"\nwarm_up = "10 min"\n'
        + f'duration = "{given.days * 24:.3f} h"\n'
    )
    folder = Path(tempfile.mkdtemp(prefix="endurance-"))
    begun = time.monotonic()
    ticks = given.days * DAY_S
    over = threading.Event()
    with Watcher(folder / "run.sqlite", given.out / "samples.jsonl", ticks) as watcher:
        told = (Progress(100, 0), watcher, ticks, over)
        threading.Thread(target=show_progress, args=told, daemon=True).start()
        longest_s = int(7200 * max(1.0, given.days))
        ran = run(folder, [], profile, longest_s=longest_s, keep=False, bench="simulated")
        over.set()
    wall, computing = clock(time.monotonic() - begun), clock(sum(os.times()[:4]))
    found = ticks_of(ran.record)
    lines, kept = judged(watcher.samples, found)
    text = "\n".join(
        [
            f"# Endurance\n\n{found / DAY_S:.2f} of {given.days:g} days at 1 s, commit {commit()}, "
            f"exit {ran.code}; {wall} of wall time, {computing} of computing.\n",
            *lines,
        ]
    )
    (given.out / "endurance.md").write_text(text + "\n")
    print(text)
    rmtree(folder, ignore_errors=True)
    return int(not kept or ran.code not in {0, 1, 3})


if __name__ == "__main__":
    sys.exit(main())
