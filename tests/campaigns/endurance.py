"""Whether a run's memory stays flat over days at one reading a second: `make endurance`.

A Read keeps three doubles a reading and channel (the procedure gets them as arrays), 96 bytes a
tick of four channels; all else has to be constant. What figures and report need after the soak is
not counted: the sample ends with the soak.
"""

import argparse
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from short_bench import HEAD, run

DAY_S = 86_400
BYTES_A_TICK = 96
SLACK = 1.5
"""Arrays grow by steps of an eighth, and the record's pages are cached."""

CONSTANT_MIB = 12.0
"""Caches that fill in the first minutes."""


def resident_mib() -> float:
    """Return this process's resident memory."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    raise RuntimeError("/proc/self/status has no VmRSS")


def record_bytes(record: Path) -> int:
    """Return the record's size as a measure of how far the run is."""
    files = [record, record.with_name(record.name + "-wal")]
    return sum(file.stat().st_size for file in files if file.exists())


def main() -> int:
    """Run a soak and watch; the exit code is 1 when memory grows beyond the stated bound."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--days", type=float, default=7.0)
    given = parser.parse_args()
    profile = (
        HEAD
        + '[[trials]]\ntrial = "soak"\nvoltage = "30 V"\ncurrent = "3 A"\nwarm_up = "10 min"\n'
        + f'duration = "{given.days * 24:.3f} h"\n'
    )
    folder = Path(tempfile.mkdtemp(prefix="endurance-"))
    seen: list[tuple[float, float]] = []
    over = threading.Event()

    aloud = sys.stderr  # standard output is the run's own meanwhile

    def watch() -> None:
        begun = time.monotonic()
        while not over.wait(2.0):
            mib = resident_mib()
            seen.append((time.monotonic() - begun, mib))
            size = record_bytes(folder / "run.sqlite") / 2**20
            print(f"{seen[-1][0]:7.0f} s  {mib:7.1f} MiB  record {size:.1f} MiB", file=aloud)

    # Only looks at /proc and file sizes; the run itself stays in the main thread.
    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    ran = run(folder, [], profile, longest_s=int(3600 * max(1.0, given.days)))
    over.set()
    watcher.join()
    soak = [mib for at, mib in seen if at > 0.1 * seen[-1][0] and at < 0.9 * seen[-1][0]]
    grown = soak[-1] - soak[0]
    allowed = CONSTANT_MIB + SLACK * 0.8 * given.days * DAY_S * BYTES_A_TICK / 2**20
    print(f"exit {ran.code}; grown by {grown:.1f} MiB, allowed {allowed:.1f} MiB")
    return int(grown > allowed or ran.code not in {0, 1, 3})


if __name__ == "__main__":
    sys.exit(main())
