"""One meter whose leads a person moves: whole runs on the simulated bench, good and bad."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from called import steadyrail
from whole_runs import assert_close_to_truth, truth

SCENARIO = """
name = "one-meter"
description = "A meter whose leads a person moves"
based_on = "{base}"
[instruments.meter]
kind = "voltmeter"
place = "leads"
"""
PROFILE = """
[profile]
name = "one-meter"
unit = "w-17"
bench = "simulated-moved-leads"
[outputs]
report = false
[[trials]]
trial = "load_steps"
voltage = "30 V"
current = "3 A"
tail = "6 s"
repeats = 2
readings = 2
fractions = ["50 %", "75 %", "100 %"]
[[trials]]
trial = "sense_check"
voltage = "30 V"
current = "3 A"
fractions = ["50 %", "100 %"]
repeats = 2
readings = 3
[[trials]]
trial = "output_off"
voltage = "30 V"
duration = "10 s"
"""


def run(folder: Path, scenario: str) -> dict[str, Any]:
    """Run the profile with the meter added to a scenario."""
    (folder / "profile.toml").write_text(PROFILE)
    (folder / "one-meter.toml").write_text(SCENARIO.format(base=scenario))
    words = (
        "run",
        "profile.toml",
        "--json",
        "--scenario",
        "one-meter.toml",
        "--record",
        "r.sqlite",
    )
    found: dict[str, Any] = json.loads(steadyrail(*words, cwd=folder).stdout)
    return found


def heard(folder: Path) -> list[str]:
    """Return what was done in the order in which it was asked, by trial."""
    with closing(sqlite3.connect(folder / "r.sqlite")) as connection:
        rows = connection.execute(
            "SELECT t.name FROM requests q JOIN trials t ON t.id = q.trial ORDER BY q.id"
        ).fetchall()
    names = [name for (name,) in rows]
    return [name for n, name in enumerate(names) if n == 0 or names[n - 1] != name]


def test_the_sense_error_is_that_of_two_meters(tmp_path: Path) -> None:
    scenario = "residual-sense-wiring"
    result = run(tmp_path, scenario)
    figures = {f["name"]: f for f in result["figures"]}
    for name in ("sense_error", "sense_resistance", "load_regulation"):
        figure = figures[name]
        assert abs(figure["value"] - truth(scenario, 1)[name]) <= figure["U"], name
    budget = [part["name"] for part in figures["sense_error"]["budget"]]
    assert "the unit's drift between the places" in budget
    verdict = next(v for v in result["verdicts"] if v["figure"] == "sense_error")
    assert verdict["verdict"] == "fail"
    # The check came first, though the profile has it second, and the report keeps its order.
    assert heard(tmp_path) == ["start_check", "sense_check", "load_steps", "output_off"]
    assert [e["kind"] for e in result["events"]].count("order") == 1
    trials = [f["trial"] for f in result["figures"]]
    assert trials.index("load_steps") < trials.index("sense_check")
    assert "Made safe, verified" in result["events"][-1]["text"]


@pytest.mark.parametrize(
    "scenario", ["sense-reversed", pytest.param("sense-open", marks=pytest.mark.slow)]
)
def test_leads_that_are_wrong_stop_it_before_the_current_is_raised(
    tmp_path: Path, scenario: str
) -> None:
    result = run(tmp_path, scenario)
    assert heard(tmp_path)[-1] in {"start_check", "sense_check"}
    with closing(sqlite3.connect(tmp_path / "r.sqlite")) as connection:
        rows = connection.execute(
            "SELECT max(r.value) FROM readings r JOIN channels c ON c.id = r.channel "
            "WHERE c.name = 'current.load'"
        ).fetchone()
    assert rows[0] < 0.5
    assert result["exit"] in {3, 4}


@pytest.mark.slow  # a minute; `make hands`
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("bench", ["simulated-moved-leads", "simulated-scanner"])
def test_a_whole_acceptance(tmp_path: Path, bench: str) -> None:
    words = ("run", "acceptance", "--bench", bench, "--json", "--record", "r.sqlite")
    result = json.loads(steadyrail(*words, cwd=tmp_path).stdout)
    assert_close_to_truth(result, "healthy", 1)
    assert result["outcome"] == "pass"
