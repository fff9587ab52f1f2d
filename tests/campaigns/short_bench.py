"""A short run on the simulated bench with faults put in at chosen bench times, and how it ended."""

import json
import re
import signal
import sqlite3
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, nullcontext
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "sequencer"))
from called import Done, steadyrail
from computer import faulty
from forked import forked
from kept import Kept, keeping
from witness import Seen, seen, watching

LONGEST_S = 300
"""A run takes a second or two, fifty times as long beside much other work; longer, it hangs."""

TIMEOUT = "250 ms"
"""The simulated instruments answer in milliseconds."""

HEAD = """
[profile]
name = "short"
unit = "unit.toml"
bench = "bench.toml"

[outputs]
report = false
"""

STEPS = (
    HEAD
    + """
[[trials]]
trial = "load_steps"
voltage = "30 V"
current = "3 A"
fractions = ["10 %", "50 %", "100 %"]
repeats = 2
readings = 2
period = "1 s"
tail = "15 s"

[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "30 s"
duration = "2 min"
"""
)

STATED = """
[stated]
warm_up = "30 s"
soak = "2 min"
tail_time = "15 s"
"""
"""The truth of these profiles: the same figures under the same conditions."""

PROMISED = {'duration = "8 h"': 'duration = "2 min"'}
"""Of the unit's drift, so that a soak as short as this one is judged."""

SWEEP = (
    HEAD
    + """
[[trials]]
trial = "limit_sweep"
voltage = "30 V"
points = 3
readings = 2
period = "1 s"
resolution = "50 mA"
"""
)

WATCHED = "simulated-watched"
"""The shipped bench with safety inputs."""

SOAK = (
    HEAD
    + """
[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "30 s"
duration = "2 min"
"""
)

PROFILES = {"sweep": SWEEP, "make-safe": SOAK}
"""The profile of a phase, where it is not STEPS."""


TICKS_BEFORE_STOP, WITHIN_A_READING_S = 20, 0.06
IN_THE_LIMIT = {"leg": "down", "region": "current line"}
"""Tags of a reading amid a sweep: the unit is in its limit, the load holds a voltage."""


class Hang(BaseException):
    """The run did not come to an end."""


@dataclass(frozen=True)
class Ran:
    """One run: exit code, result (None where there is none), what it wrote, its record.

    `kept` is what the writer said to be on the disk, `seen` what really happened on the bench,
    `happened` whether a fault of the computer came.
    """

    code: int
    result: dict[str, Any] | None
    errors: str
    record: Path
    kept: Kept
    seen: Seen
    happened: bool = False

    @property
    def events(self) -> list[dict[str, Any]]:
        return [] if self.result is None else list(self.result["events"])

    def kinds(self) -> set[str]:
        return {event["kind"] for event in self.events}


def scenario_text(faults: Sequence[Mapping[str, object]], based_on: str = "healthy") -> str:
    """Return a scenario with faults, stated for these profiles."""
    head = {"name": "short", "description": "a campaign", "based_on": based_on}
    text = "".join(f"{key} = {json.dumps(value)}\n" for key, value in head.items()) + STATED
    for fault in faults:
        text += "[[faults]]\n" + "".join(f"{k} = {json.dumps(v)}\n" for k, v in fault.items())
    return text + "[instruments.inputs]\n[instruments.control]\n"


def write(
    folder: Path,
    faults: Sequence[Mapping[str, object]],
    profile: str = STEPS,
    based_on: str = "healthy",
    bench: str = WATCHED,
) -> Path:
    """Write scenario, bench and profile into a folder; return the profile's path."""
    scenario = folder / "scenario.toml"
    scenario.write_text(scenario_text(faults, based_on))
    text = (Path(str(files("profiles"))) / "benches" / f"{bench}.toml").read_text()
    text = re.sub(r'\nscenario = ".*"', f"\nscenario = {json.dumps(str(scenario))}", text)
    text = text.replace("\ndialect = ", f'\ntimeout = "{TIMEOUT}"\ndialect = ')
    (folder / "bench.toml").write_text(text)
    unit = (Path(str(files("profiles"))) / "units" / "w-17.toml").read_text()
    for found, put in PROMISED.items():
        assert found in unit
        unit = unit.replace(found, put)
    (folder / "unit.toml").write_text(unit)
    path = folder / "short.toml"
    path.write_text(profile)
    return path


@contextmanager
def _within(seconds: int) -> Iterator[None]:
    def ring(*_: object) -> None:
        raise Hang(f"no end within {seconds} s")

    before = signal.signal(signal.SIGALRM, ring)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def run(
    folder: Path,
    faults: Sequence[Mapping[str, object]],
    profile: str = STEPS,
    seed: int = 1,
    longest_s: int = LONGEST_S,
    based_on: str = "healthy",
    computer: tuple[str, float] | None = None,
    keep: bool = True,
    bench: str = WATCHED,
) -> Ran:
    """Run the short profile with faults; raises Hang when it does not end.

    `computer` is a fault of the computer and its bench time. Without `keep` the readings are not
    kept in memory for comparison. `bench` is a shipped simulated one.
    """
    folder.mkdir(parents=True, exist_ok=True)
    path = write(folder, faults, profile, based_on, bench)
    record = folder / "run.sqlite"
    with (
        _within(longest_s),
        keeping() if keep else nullcontext(Kept()) as kept,
        forked(watching(folder)),
        faulty(computer, record) as came,
    ):
        done: Done = steadyrail(
            *("run", str(path), "--json", "--record", str(record), "--seed", str(seed)),
            cwd=folder,
        )
    line = done.stdout.strip()
    result = json.loads(line) if line else None
    return Ran(done.returncode, result, done.stderr, record, kept, seen(folder), bool(came))


def phases(record: Path) -> dict[str, float]:
    """Return a bench time within each phase, learnt from the record of an undisturbed run."""
    with closing(sqlite3.connect(record)) as base:  # or a fork would close its descriptor anew
        rows = base.execute(
            "SELECT t.name, q.at, q.body FROM requests q JOIN trials t ON t.id = q.trial "
            "ORDER BY q.id"
        ).fetchall()
        ended = base.execute("SELECT max(answered_at) FROM readings").fetchone()[0]
    asked = [(name, float(at), json.loads(body)) for name, at, body in rows]
    until = [at for _, at, _ in asked[1:]] + [float(ended)]
    found: dict[str, float] = {}
    loaded = False
    for (trial, at, request), end in zip(asked, until, strict=True):
        kind, state = request["kind"], request.get("state", {})
        if state.get("kind") == "LoadState":
            loaded = state["on"]
        middle = (at + end) / 2
        if trial == "start_check" and state.get("kind") == "SupplyState":
            found["prompt"] = middle
        elif trial == "start_check" and state.get("on"):
            found["start"] = at + 0.1
        elif trial == "load_steps" and kind in {"Settle", "Read"} and loaded:
            found[kind.lower()] = middle
        elif kind == "Read" and request["tag"].items() >= IN_THE_LIMIT.items():
            found["sweep"] = middle
        elif trial == "soak" and kind == "Read":
            found["soak"] = middle
            # Just when a tick's readings have begun: what they show makes the run stop.
            found["make-safe"] = at + TICKS_BEFORE_STOP + WITHIN_A_READING_S
    return found
