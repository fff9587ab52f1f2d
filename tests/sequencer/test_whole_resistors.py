"""A load of 60 W and a resistor by switch: a whole run at 90 W, and what plan and check say."""

import json
from pathlib import Path

import pytest
from called import steadyrail
from whole_runs import truth

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


def test_by_hand_the_plan_counts_how_often_one_gets_up(folder: Path) -> None:
    by_hand = RELAY[RELAY.index("[[load") :].replace('by = "switch"', 'by = "hand"')
    by_hand = "\n".join(line for line in by_hand.splitlines() if not line.startswith(("sw", "out")))
    without = (folder / "without.toml").read_text()
    (folder / "bench.toml").write_text(without + by_hand)
    told = json.loads(steadyrail("plan", "profile.toml", "--json", cwd=folder).stdout)
    # Tail, trimming and two rounds of load_steps, once in the soak; each on and off again.
    assert told["gets_up"] == 2 * 5
    assert any("hot enough to burn" in line for line in told["warnings"])


def test_without_it_check_and_plan_say_which_one_would_do(folder: Path) -> None:
    done = steadyrail("plan", "profile.toml", "--bench", "without.toml", cwd=folder)
    assert done.returncode == 2
    assert "a resistor of 21.9 Ω to 27.4 Ω within 5%, for at least 86 W" in " ".join(
        done.stderr.split()
    )
