"""Safety inputs over real sockets stop a run within one tick and a query, safe and verified."""

import sys
import tomllib
from importlib.resources import files
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "campaigns"))
from short_bench import HEAD, run

BRIEF = (
    HEAD
    + '[[trials]]\ntrial = "soak"\nvoltage = "30 V"\ncurrent = "3 A"\n'
    + 'warm_up = "30 s"\nduration = "30 s"\n'
)
RAISED_S = 40.0
TICK_S, SLOWEST_QUERY_S = 1.0, 0.2
"""The guards' period, and a reading of 100 ms with what it takes to ask for it."""


@pytest.mark.parametrize(
    ("what", "channel"),
    [
        ("smoke", "interlock.smoke"),
        ("interlock opened", "interlock.bench"),
        ("emergency stop", "interlock.emergency-stop"),
    ],
)
def test_a_raised_safety_input_stops_the_run_safe_and_verified(
    tmp_path: Path, what: str, channel: str
) -> None:
    lasts = {} if what == "interlock opened" else {"lasts": "2 s"}
    ran = run(tmp_path, [{"what": what, "at": f"{RAISED_S} s", **lasts}], BRIEF)
    assert ran.code == 4, ran.errors
    (stopped,) = [e["text"] for e in ran.events if e["kind"] == "stopped"]
    assert stopped.startswith(f"{channel} is raised at ")
    at = float(stopped.removesuffix(" s.").rsplit(" ", 1)[1])
    assert RAISED_S <= at <= RAISED_S + TICK_S + SLOWEST_QUERY_S
    (safe,) = [e["text"] for e in ran.events if e["kind"] == "make safe"]
    assert safe.startswith("Made safe, verified")


def test_the_watched_bench_is_the_simulated_one_with_inputs() -> None:
    benches = Path(str(files("profiles"))) / "benches"
    plain, watched = (
        tomllib.loads((benches / f"{name}.toml").read_text())
        for name in ("simulated", "simulated-watched")
    )
    for more in ("interlock.smoke", "interlock.bench", "interlock.emergency-stop"):
        del watched["channels"][more]
    del watched["instruments"]["inputs"]
    for section in ("bench", "simulation"):
        del plain[section], watched[section]
    assert plain == watched
