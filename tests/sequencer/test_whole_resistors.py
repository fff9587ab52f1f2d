"""A load of 60 W and a resistor by switch: a whole run at 90 W, and what plan and check say."""

import json
import sqlite3
from contextlib import closing
from itertools import pairwise
from pathlib import Path

import pytest
from called import steadyrail
from whole_runs import assert_close_to_truth, truth

from sequencer.command_line.plan_by_hand import resistor_words, times_up
from sequencer.documents.load import load_profile
from sequencer.planning import make_plan

SCENARIO = """
name = "weak-load"
description = "A load of 60 W, and a resistor that a relay puts beside it"
based_on = "healthy"
[instruments.load]
power_w = 60.0
[instruments.switch]
ohms = [25.0]
tolerance = "4 %"
"""
RELAY = """
[instruments.switch]
role = "switch"
dialect = "scpi-switch"

[[load.resistors]]
resistance = "25 Ω"
power = "100 W"
by = "switch"
switch = "switch"
output = "101"
"""
PROFILE = """
[profile]
name = "weak-load"
unit = "w-17"
bench = "bench.toml"
[outputs]
report = false
[[trials]]
trial = "load_steps"
voltage = "30 V"
current = "3 A"
tail = "10 s"
repeats = 2
fractions = ["25 %", "60 %", "100 %"]
[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "1 min"
duration = "2 min"
"""
SHIPPED = Path(__file__).parents[2] / "profiles" / "benches" / "simulated.toml"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    scenario = tmp_path / "weak-load.toml"
    scenario.write_text(SCENARIO)
    bench = SHIPPED.read_text().replace('scenario = "healthy"', f'scenario = "{scenario}"')
    bench = bench.replace('power = "150 W"', 'power = "60 W"')
    (tmp_path / "without.toml").write_text(bench)
    (tmp_path / "bench.toml").write_text(bench + RELAY)
    (tmp_path / "profile.toml").write_text(PROFILE)
    return tmp_path


def test_the_unit_is_taken_to_its_rated_current(folder: Path) -> None:
    done = steadyrail("run", "profile.toml", "--json", cwd=folder)
    result = json.loads(done.stdout)
    figures = {f["name"]: f for f in result["figures"]}
    for name in ("load_regulation", "output_resistance"):
        figure = figures[name]
        assert abs(figure["value"] - truth("healthy", 1)[name]) <= figure["U"], name
        assert figure["reached"]["current_to"] == pytest.approx(3.0, abs=0.01)
    assert figures["drift"]["reached"]["current_to"] == pytest.approx(3.0, abs=0.01)
    safe = [e["text"] for e in result["events"] if e["kind"] == "make safe"]
    assert "resistors off: current.shunt" in safe[-1]
    assert safe[-1].startswith("Made safe, verified")


def test_the_plan_shows_what_flows_though_the_load_is_off(folder: Path) -> None:
    told = json.loads(steadyrail("plan", "profile.toml", "--json", cwd=folder).stdout)
    assert any("1.2 A and 36 W at 30 V" in line for line in told["warnings"])
    steps = [step for trial in told["trials"] for step in trial["steps"]]
    assert max(step["load_power"] for step in steps) <= 60.0
    assert max(step["current"] for step in steps) == pytest.approx(3.0)
    assert told["gets_up"] == 0


def by_hand(folder: Path) -> None:
    """Put the resistor of the folder's bench into a person's hand."""
    table = RELAY[RELAY.index("[[load") :].replace('by = "switch"', 'by = "hand"')
    lines = (line for line in table.splitlines() if not line.startswith(("sw", "out")))
    without = (folder / "without.toml").read_text()
    (folder / "bench.toml").write_text(without + "\n".join(lines))


def test_by_hand_a_person_gets_up_twice_a_trial(folder: Path) -> None:
    by_hand(folder)
    documents = load_profile(folder / "profile.toml")
    count = times_up(make_plan(documents))
    assert count == 2 * 2
    assert any("hot enough to burn" in line for line in resistor_words(documents))
    result = json.loads(
        steadyrail("run", "profile.toml", "--json", "--record", "r.sqlite", cwd=folder).stdout
    )
    figures = {f["name"]: f for f in result["figures"]}
    for name in ("load_regulation", "output_resistance"):
        assert abs(figures[name]["value"] - truth("healthy", 1)[name]) <= figures[name]["U"], name
    with closing(sqlite3.connect(folder / "r.sqlite")) as connection:
        states = connection.execute("SELECT body FROM requests WHERE body LIKE '%resistors%'")
        sets = [body.partition('"resistors":')[2].partition("]")[0] for (body,) in states]
    assert sum(one != before for before, one in pairwise(sets)) == count
    assert "Made safe, verified" in result["events"][-1]["text"]


@pytest.mark.slow  # two minutes; `make hands`
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("seed", ["1", "2", "3"])
def test_a_whole_acceptance_by_hand(tmp_path: Path, seed: str) -> None:
    bench = ("--bench", "simulated-hand-resistors", "--seed", seed)
    words = ("run", "hands.toml", *bench, "--json", "--record", "r.sqlite")
    shipped = SHIPPED.parents[1] / "acceptance.toml"
    (tmp_path / "hands.toml").write_text(shipped.read_text())
    result = json.loads(steadyrail(*words, cwd=tmp_path).stdout)
    assert_close_to_truth(result, "healthy", int(seed))
    assert result["outcome"] == "pass"


def test_without_it_check_and_plan_say_which_one_would_do(folder: Path) -> None:
    done = steadyrail("plan", "profile.toml", "--bench", "without.toml", cwd=folder)
    assert done.returncode == 2
    assert "a resistor of 21.9 Ω to 27.4 Ω within 5%, for at least 86 W" in " ".join(
        done.stderr.split()
    )
