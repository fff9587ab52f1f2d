"""One meter whose leads a person moves: whole runs on the simulated bench, good and bad."""

import json
import re
from pathlib import Path

import pytest
from called import steadyrail
from whole_runs import truth

SCENARIO = """
name = "one-meter"
description = "A meter whose leads a person moves"
based_on = "{base}"
[instruments.meter]
kind = "voltmeter"
place = "leads"
{more}
"""
METER = """
[instruments.meter]
role = "voltmeter"
dialect = "scpi-voltmeter"
"""
PROFILE = """
[profile]
name = "one-meter"
unit = "w-17"
bench = "bench.toml"
[outputs]
report = false
[[trials]]
trial = "sense_check"
voltage = "30 V"
current = "3 A"
fractions = ["50 %", "100 %"]
repeats = 2
[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "1 min"
duration = "2 min"
period = "5 s"
"""
SHIPPED = Path(__file__).parents[2] / "profiles" / "benches" / "simulated.toml"


def prepared(folder: Path, base: str = "healthy", more: str = "") -> Path:
    """Write scenario, bench and profile of one meter at two places."""
    scenario = folder / "one-meter.toml"
    scenario.write_text(SCENARIO.format(base=base, more=more))
    bench = SHIPPED.read_text().replace('scenario = "healthy"', f'scenario = "{scenario}"')
    for name in ("sense", "load", "terminals"):
        bench = re.sub(rf"\[instruments\.voltmeter_{name}\]\n.*\n.*\n.*\n", "", bench)
        at = f'instrument = "meter"\nleads = "{name} terminals"'
        bench = bench.replace(f'instrument = "voltmeter_{name}"', at)
    start, end = bench.index('[channels."voltage.term'), bench.index('[channels."current.shunt"]')
    (folder / "bench.toml").write_text(bench[:start] + bench[end:] + METER)
    (folder / "profile.toml").write_text(PROFILE)
    return folder


def test_the_sense_error_is_that_of_two_meters(tmp_path: Path) -> None:
    scenario = "residual-sense-wiring"
    folder = prepared(tmp_path, scenario)
    result = json.loads(steadyrail("run", "profile.toml", "--json", cwd=folder).stdout)
    figures = {f["name"]: f for f in result["figures"]}
    for name in ("sense_error", "sense_resistance"):
        figure = figures[name]
        assert abs(figure["value"] - truth(scenario, 1)[name]) <= figure["U"], name
        budget = [part["name"] for part in figure["budget"]]
        assert "the unit's drift between the places" in budget
    verdict = next(v for v in result["verdicts"] if v["figure"] == "sense_error")
    assert verdict["verdict"] == "fail"
    # The leads are back where the next trial needs them.
    assert figures["drift"]["reached"]["current_to"] == pytest.approx(3.0, abs=0.01)
    assert "Made safe, verified" in result["events"][-1]["text"]


def test_the_plan_says_how_often_one_gets_up(tmp_path: Path) -> None:
    told = json.loads(steadyrail("plan", "profile.toml", "--json", cwd=prepared(tmp_path)).stdout)
    assert any("guard of voltage.sense rests" in line for line in told["warnings"])
    assert told["gets_up"] == 2  # to the load, and back at the end
