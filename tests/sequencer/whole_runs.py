"""Run profiles once per test session, and know the truth that they are compared with."""

import json
import sqlite3
import subprocess
import sys
from contextlib import closing
from functools import cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

from called import Done, steadyrail

from simulated_bench.scenario import load as load_scenario
from simulated_bench.truth import truth as true_figures

SEEDS = {"acceptance": (1, 2), "overnight": (1,)}
"""What fits into the tests; hundreds of seeds, of each trial, are the coverage campaign's."""
NAMES = {
    "acceptance": {
        "load_regulation",
        "output_resistance",
        "sense_error",
        "sense_resistance",
        "limit_current",
        "knee_current",
        "knee_onset",
        "short_current",
        "lead_drop",
        "thermal_tail",
        "foldback_ratio",
        "limit_change",
        "limit_hysteresis",
    },
    "overnight": {"drift", "drift_span", "drift_rate"},
}


@cache
def ran(profile: str, scenario: str, seed: int) -> tuple[Done, dict[str, Any], Path]:
    """Run a profile once per test session and worker; the record stays for other tests."""
    folder = Path(mkdtemp(prefix="run-"))
    record = folder / "run.sqlite"
    done = steadyrail(
        *("run", profile, "--json", "--scenario", scenario, "--seed", str(seed)),
        *("--record", str(record)),
        cwd=folder,
    )
    assert done.stdout.count("\n") == 1, done.stderr
    return done, json.loads(done.stdout), record


@cache
def truth(scenario: str, seed: int) -> dict[str, float]:
    done = subprocess.run(
        [
            *(sys.executable, "-m", "sequencer.command_line.app", "simulate", "--truth"),
            *("--scenario", scenario, "--seed", str(seed)),
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    found: dict[str, float] = json.loads(done.stdout)
    return found


@cache
def truth_of_soak(scenario: str, seed: int, record: Path) -> dict[str, float]:
    """Return the truth with the load coming on when it did in a record; empty without a soak."""
    with closing(sqlite3.connect(record)) as connection:
        warming = connection.execute(
            """SELECT min(at) FROM requests WHERE body LIKE '%"phase":"warm-up"%'"""
        ).fetchone()[0]
    if warming is None:
        return {}
    return true_figures(load_scenario(scenario), seed, loaded_at_s=float(warming))


def misses(profile: str, scenario: str, seeds: tuple[int, ...]) -> tuple[list[str], int]:
    """Return which figures lie farther than U from the truth, and how many were compared.

    A soak is compared with the truth of the time at which its load came on.
    """
    missed, count = [], 0
    for seed in seeds:
        _, result, record = ran(profile, scenario, seed)
        true = truth_of_soak(scenario, seed, record) or truth(scenario, seed)
        for figure in result["figures"]:
            if figure["name"] in true:
                count += 1
                off = (figure["value"] - true[figure["name"]]) / figure["U"]
                if abs(off) > 1:
                    missed.append(f"seed {seed}: {figure['name']} off by {off:.2f} U")
    return missed, count


def assert_healthy_passes(profile: str) -> None:
    for seed in SEEDS[profile]:
        done, result, _ = ran(profile, "healthy", seed)
        assert done.returncode == result["exit"] == 0, done.stderr
        assert result["outcome"] == "pass"
        assert {v["verdict"] for v in result["verdicts"]} == {"pass"}
        assert NAMES[profile] <= {f["name"] for f in result["figures"]}


def assert_truth_within_uncertainty(profile: str) -> None:
    missed, count = misses(profile, "healthy", SEEDS[profile])
    assert count >= len(SEEDS[profile]) * len(NAMES[profile])
    # U is stated for 95 %: of n figures about n/20 may lie outside, and not many more.
    assert len(missed) <= max(1, round(count / 20)), missed


def assert_judged_alike(profile: str, folder: Path) -> None:
    done, result, record = ran(profile, "healthy", 1)
    copy = folder / f"{profile}.sqlite"
    copy.write_bytes(record.read_bytes())
    again = steadyrail("judge", str(copy), "--json", cwd=folder)
    assert again.returncode == done.returncode
    judged = json.loads(again.stdout)
    for key in ("outcome", "exit", "figures", "verdicts", "events"):
        assert judged[key] == result[key]


def assert_close_to_truth(result: dict[str, Any], scenario: str, seed: int) -> None:
    """Compare every figure of a result that has a truth; of twenty about one may lie outside."""
    true = truth(scenario, seed)
    compared = [figure for figure in result["figures"] if figure["name"] in true]
    off = [f["name"] for f in compared if abs(f["value"] - true[f["name"]]) > f["U"]]
    assert len(compared) >= len(NAMES["acceptance"]) - 2
    assert len(off) <= 1, off
