"""Long campaigns: cells in processes of their own, kept as they end, gone on with after a break.

Every result is a line of JSON in a file, under the digest of the code that it came from. A campaign
runs what is missing for the code as it is; `--afresh` runs all again.
"""

import argparse
import ctypes
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from functools import cache
from hashlib import sha256
from pathlib import Path
from select import select
from typing import Any

ROOT = Path(__file__).parents[2]
CODE = ("sequencer", "drivers", "simulated_bench", "profiles")
SUFFIXES = frozenset({".py", ".toml", ".html", ".css", ".js"})
NICE = 10
END_WITH_PARENT = 1  # PR_SET_PDEATHSIG, linux/prctl.h: nothing is left of a campaign that is ended
BAR = 30

Job = Callable[[], dict[str, Any]]
Row = dict[str, Any]


def digest_of(*more: Path) -> str:
    """Return a digest of the code, and of the files that say how a campaign runs it."""
    found = sha256()
    places = [path for folder in CODE for path in sorted((ROOT / folder).rglob("*"))]
    for path in [*places, *more]:
        if path.suffix in SUFFIXES and "__pycache__" not in path.parts:
            found.update(path.name.encode() + path.read_bytes())
    return found.hexdigest()[:12]


@cache
def commit() -> str:
    """Return the commit that is checked out, marked where files differ from it."""
    words = ["git", "-C", str(ROOT), "describe", "--always", "--dirty", "--exclude", "*"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    return done.stdout.strip() or "unknown"


def options(description: str | None, out: str) -> argparse.ArgumentParser:
    """Return what every campaign can be told."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--out", type=Path, default=Path("out") / out, help="a folder")
    parser.add_argument("--afresh", action="store_true", help="run again what is there already")
    parser.add_argument("--at-once", type=int, default=2)
    parser.add_argument("--only", default="", help="only cells whose name holds this text")
    return parser


class Ledger:
    """The results of one campaign, one line of JSON each."""

    def __init__(self, folder: Path, code: str, *, afresh: bool) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.path = folder / "results.jsonl"
        self._code = code
        lines = self.path.read_text().splitlines() if self.path.exists() else []
        kept = [json.loads(line) for line in lines]
        if afresh:
            kept = [row for row in kept if row["code"] != code]
            self.path.write_text("".join(json.dumps(row) + "\n" for row in kept))
        self.rows: dict[str, Row] = {row["cell"]: row for row in kept if row["code"] == code}

    def add(self, cell: str, found: Mapping[str, Any], took_s: float) -> Row:
        """Keep a result; one of the same name is replaced by it."""
        head = {"cell": cell, "code": self._code, "commit": commit(), "took_s": round(took_s, 2)}
        row = {**head, **found}
        self.rows[cell] = row
        with self.path.open("a") as file:
            file.write(json.dumps(row) + "\n")
        return row

    def carry_out(
        self,
        jobs: Mapping[str, Job],
        *,
        at_once: int,
        longest_s: float,
        threads: bool = False,
        said: Callable[[Row], str] = lambda _: "",
    ) -> list[Row]:
        """Run the cells that are missing; return the rows of all, in the order of the jobs."""
        missing = {cell: job for cell, job in jobs.items() if cell not in self.rows}
        bar = Progress(len(jobs), len(jobs) - len(missing))
        runs = in_threads if threads else in_processes
        for cell, found, took_s in runs(missing, at_once, longest_s):
            row = self.add(cell, found, took_s)
            bar.step(f"{cell}: {said(row)}")
        bar.end()
        return [self.rows[cell] for cell in jobs if cell in self.rows]


class Progress:
    """How far a campaign is and how long it will still take."""

    def __init__(self, total: int, done: int) -> None:
        self._total, self._done, self._skipped = total, done, done
        self._begun = time.monotonic()
        self._out = sys.stderr  # kept, as a run in this process takes its own output elsewhere
        self._live = self._out.isatty()
        if done:
            print(f"{done} of {total} are there already", file=self._out)

    def step(self, text: str) -> None:
        self._done += 1
        passed = time.monotonic() - self._begun
        left_s = passed / (self._done - self._skipped) * (self._total - self._done)
        filled = BAR * self._done // max(1, self._total)
        bar = "#" * filled + "." * (BAR - filled)
        line = f"[{bar}] {self._done}/{self._total}, {clock(left_s)} left"
        if self._live:
            self._out.write(f"\r\x1b[K{text}\n{line}")
        else:
            self._out.write(f"{line}  {text}\n")
        self._out.flush()

    def end(self) -> None:
        if self._live:
            self._out.write("\n")


def clock(seconds: float) -> str:
    """Return a duration as a person reads it."""
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}"


def in_threads(
    jobs: Mapping[str, Job], at_once: int, longest_s: float
) -> Iterator[tuple[str, Row, float]]:
    """Run jobs that start processes themselves and end by themselves."""
    del longest_s

    def timed(job: Job) -> tuple[Row, float]:
        begun = time.monotonic()
        return job(), time.monotonic() - begun

    with ThreadPoolExecutor(at_once) as pool:
        asked = {pool.submit(timed, job): cell for cell, job in jobs.items()}
        try:
            for done in as_completed(asked):
                yield asked[done], *done.result()
        except KeyboardInterrupt:
            pool.shutdown(cancel_futures=True)
            raise


def in_processes(
    jobs: Mapping[str, Job], at_once: int, longest_s: float
) -> Iterator[tuple[str, Row, float]]:
    """Run each job in a process forked for it: whatever kills that process ends one cell only."""
    waiting = list(jobs.items())[::-1]
    running: dict[int, tuple[str, int, float, list[bytes]]] = {}
    try:
        while waiting or running:
            while waiting and len(running) < at_once:
                cell, job = waiting.pop()
                out, into = os.pipe()
                pid = os.fork()
                if pid == 0:
                    os.close(out)
                    _child(job, into)
                os.close(into)
                running[out] = (cell, pid, time.monotonic(), [])
            ready = select(list(running), [], [], 1.0)[0]
            for out, (cell, pid, begun, parts) in list(running.items()):
                late = time.monotonic() - begun > longest_s
                if late:
                    os.kill(pid, signal.SIGKILL)
                elif out not in ready:
                    continue
                elif part := os.read(out, 1 << 16):
                    parts.append(part)
                    continue
                os.close(out)
                code = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
                del running[out]
                yield cell, _found(parts, code, late=late), time.monotonic() - begun
    finally:
        for _, pid, _, _ in running.values():
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)


def _child(job: Job, into: int) -> None:
    code = 1
    try:
        os.setsid()
        ctypes.CDLL(None).prctl(END_WITH_PARENT, signal.SIGKILL)
        with os.fdopen(into, "w") as file:
            json.dump(job(), file)
        code = 0
    except BaseException:  # noqa: BLE001  # told by the exit code, and on the terminal
        import traceback  # noqa: PLC0415

        traceback.print_exc()
    finally:
        os._exit(code)


def _found(parts: Iterable[bytes], code: int, *, late: bool) -> Row:
    if late:
        return {"failed": "did not end and was killed"}
    try:
        found: Row = json.loads(b"".join(parts))
    except ValueError:
        return {"failed": f"its process ended with {code}"}
    return found


def behave() -> None:
    """Leave the processor to whoever else is there."""
    os.nice(max(0, NICE - os.nice(0)))


def shown(values: Sequence[float]) -> str:
    """Return least, median, 95th percentile and greatest of numbers."""
    ranked = sorted(values)
    if not ranked:
        return "none"
    at = {q: ranked[min(len(ranked) - 1, int(q * len(ranked)))] for q in (0.5, 0.95)}
    return (
        f"least {ranked[0]:.2f}, median {at[0.5]:.2f}, 95 % below {at[0.95]:.2f}, "
        f"greatest {ranked[-1]:.2f}"
    )
