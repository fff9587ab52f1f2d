"""A hand-held meter that the simulated person reads: whole runs, with slips of the keys."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from called import steadyrail
from whole_runs import assert_close_to_truth, truth

from sequencer.command_line.left_alone import reasons_against
from sequencer.command_line.typed_values import refusal, typed_values
from sequencer.documents.load import load_profile
from sequencer.planning import make_plan

PROFILES = Path(__file__).parents[2] / "profiles"
SLIPS = """
name = "slips"
description = "A hand-held voltmeter, and a person whose keys slip"
based_on = "hand-held"
[person]
mistake = "8 %"
"""
PROFILE = """
[profile]
name = "hand-held"
unit = "w-17"
bench = "simulated-hand-held"
{more}
[outputs]
report = false
[[trials]]
trial = "load_steps"
voltage = "30 V"
current = "3 A"
fractions = ["25 %", "60 %", "100 %"]
repeats = 3
"""
SOAK = """
[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "10 min"
duration = "1 h"
period = "{period}"
"""


def test_a_run_whose_voltages_are_typed(tmp_path: Path) -> None:
    (tmp_path / "profile.toml").write_text(PROFILE.format(more=""))
    (tmp_path / "slips.toml").write_text(SLIPS)
    planned = typed_values(make_plan(load_profile(tmp_path / "profile.toml")))
    words = ("run", "profile.toml", "--json", "--scenario", "slips.toml", "--record", "r.sqlite")
    done = steadyrail(*words, cwd=tmp_path)
    result = json.loads(done.stdout)
    figures = {f["name"]: f for f in result["figures"]}
    for name in ("load_regulation", "output_resistance"):
        assert abs(figures[name]["value"] - truth("healthy", 1)[name]) <= figures[name]["U"], name
    assert figures["load_regulation"]["U"] > 5e-4  # a display that shows millivolts
    assert "resolution" in {part["name"] for part in figures["output_resistance"]["budget"]}
    assert "thermal tail (needs voltage.sense by a meter that nobody has to type)" in " ".join(
        result["notes"]
    )
    with closing(sqlite3.connect(tmp_path / "r.sqlite")) as connection:
        raws, spans = zip(
            *connection.execute(
                "SELECT r.raw, r.answered_at - r.asked_at FROM readings r JOIN channels c "
                "ON c.id = r.channel WHERE c.name = 'voltage.sense'"
            ).fetchall(),
            strict=True,
        )
    assert all(raw.endswith(" V") for raw in raws)
    assert all(float(raw.removesuffix(" V")) < 33.0 for raw in raws)  # no slip was taken
    assert max(spans) > 1.5 * sorted(spans)[len(spans) // 2]  # some were asked twice
    # The start check's two values are not in the plan, and a knob may take more than one.
    assert 0 <= len(raws) - planned <= 6
    assert "Made safe, verified" in result["events"][-1]["text"]


def test_soaks_are_refused_unless_wanted(tmp_path: Path) -> None:
    profile = tmp_path / "profile.toml"
    profile.write_text(PROFILE.format(more="") + SOAK.format(period="1 s"))
    done = steadyrail("plan", "profile.toml", cwd=tmp_path)
    assert done.returncode == 2
    assert "a reading of voltage.sense every 1 s, typed by a person" in done.stderr
    profile.write_text(PROFILE.format(more="typed_at_most = 20") + SOAK.format(period="5 min"))
    documents = load_profile(profile)
    assert "more than 20" in refusal(documents, make_plan(documents))
    told = steadyrail("check", "profile.toml", cwd=tmp_path).stdout
    assert "profile.toml: it would be refused: a person would have to type" in told
    done = steadyrail("run", "profile.toml", cwd=tmp_path)
    assert done.returncode == 2
    assert "Nothing was energised: a person would have to type" in " ".join(done.stderr.split())


def test_nobody_types_when_left_alone(tmp_path: Path) -> None:
    (tmp_path / "profile.toml").write_text(
        PROFILE.format(more="").replace("simulated-hand-held", "bench.toml")
    )
    shipped = PROFILES / "benches" / "simulated-hand-held.toml"
    bench = shipped.read_text().replace('operator = "instrument"', 'operator = "terminal"')
    (tmp_path / "bench.toml").write_text(bench)
    documents = load_profile(tmp_path / "profile.toml")
    against = reasons_against(documents, make_plan(documents))
    assert any("needs a person after the start" in one for one in against)


@pytest.mark.slow  # a minute; `make hands`
@pytest.mark.timeout(1800)
def test_a_whole_acceptance(tmp_path: Path) -> None:
    words = (
        "run",
        "acceptance",
        "--bench",
        "simulated-hand-held",
        "--json",
        "--record",
        "r.sqlite",
    )
    result = json.loads(steadyrail(*words, cwd=tmp_path).stdout)
    assert_close_to_truth(result, "healthy", 1)
    assert {v["verdict"] for v in result["verdicts"]} <= {"pass", "conditional pass"}


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_a_soak_that_is_wanted(tmp_path: Path) -> None:
    (tmp_path / "profile.toml").write_text(PROFILE.format(more="") + SOAK.format(period="5 min"))
    result = json.loads(
        steadyrail("run", "profile.toml", "--json", "--record", "r.sqlite", cwd=tmp_path).stdout
    )
    figure = next(f for f in result["figures"] if f["name"] == "drift")
    assert figure["reached"]["duration"] == pytest.approx(3600.0, rel=0.1)


AMMETER = """
name = "typed-current"
description = "A hand-held ammeter in the load wiring"
based_on = "healthy"
[instruments.clamp]
kind = "hand_held"
measures = "current"
step = "0.001"
counts = 60000
gain = "0.3 %"
digits = "3"
"""


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_a_current_that_is_typed(tmp_path: Path) -> None:
    (tmp_path / "typed-current.toml").write_text(AMMETER)
    bench = (PROFILES / "benches" / "simulated.toml").read_text()
    start, end = (bench.index(f'[channels."{name}"]') for name in ("current.shunt", "current.load"))
    bench = bench[:start] + bench[end:].replace('scenario = "healthy"', "")
    bench += """
[instruments.clamp]
role = "ammeter"
operator = "instrument"

[channels."current.shunt"]
instrument = "clamp"
function = "current"
range = "60 A"
accuracy = { error = "0.3 % + 3 digits", display = "60000 counts" }
"""
    (tmp_path / "bench.toml").write_text(bench)
    profile = PROFILE.format(more="").replace("simulated-hand-held", "bench.toml")
    (tmp_path / "profile.toml").write_text(profile.replace("repeats", 'tail = "20 s"\nrepeats'))
    words = ("run", "profile.toml", "--json", "--scenario", "typed-current.toml")
    result = json.loads(steadyrail(*words, "--record", "r.sqlite", cwd=tmp_path).stdout)
    figures = {f["name"]: f for f in result["figures"]}
    for name in ("load_regulation", "output_resistance", "thermal_tail"):
        # One of twenty lies beyond U, and this is one bench; beyond 2 U is a fault.
        off = abs(figures[name]["value"] - truth("healthy", 1)[name])
        assert off <= 2 * figures[name]["U"], name
    assert "Made safe, verified" in result["events"][-1]["text"]
