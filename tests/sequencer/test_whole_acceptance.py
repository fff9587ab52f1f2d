"""Acceptance runs over real sockets on the simulated bench, against its truth."""

import contextlib
import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from called import steadyrail
from whole_runs import (
    assert_healthy_passes,
    assert_judged_alike,
    assert_truth_within_uncertainty,
    ran,
    truth,
)

from sequencer.record.read import RecordReader


def test_a_healthy_unit_passes_for_every_seed() -> None:
    assert_healthy_passes("acceptance")


def test_the_truth_lies_within_the_stated_uncertainty() -> None:
    assert_truth_within_uncertainty("acceptance")


def test_a_sense_lead_on_the_wrong_side_of_a_connector_fails_the_sense_error() -> None:
    done, result, _ = ran("acceptance", "residual-sense-wiring", 1)
    assert done.returncode == 1
    assert [v["figure"] for v in result["verdicts"] if v["verdict"] == "fail"] == ["sense_error"]
    error = next(f for f in result["figures"] if f["name"] == "sense_error")
    assert abs(error["value"] - truth("residual-sense-wiring", 1)["sense_error"]) < error["U"]


def test_the_same_scenario_and_seed_give_the_same_bench() -> None:
    assert truth("healthy", 2) == truth("healthy", 2)
    assert truth("healthy", 2) != truth("healthy", 3)


def test_the_json_object_has_the_agreed_shape() -> None:
    _, result, record = ran("acceptance", "healthy", 1)
    assert {"record", "outcome", "exit", "figures", "verdicts", "events"} <= set(result)
    assert result["record"] == str(record)
    assert (result["unit"], result["profile"], result["bench"]) == (
        "W-17",
        "acceptance",
        "simulated",
    )
    assert "no real unit was measured" in result["simulated"]
    assert result["started"] < result["ended"]
    for figure in result["figures"]:
        keys = {"trial", "name", "value", "unit", "u", "dof", "k", "U", "coverage"}
        assert keys <= set(figure)
        assert figure["U"] == pytest.approx(figure["k"] * figure["u"])
    for verdict in result["verdicts"]:
        keys = {"figure", "trial", "limit", "unit", "rule", "verdict", "probability", "ratio"}
        assert keys <= set(verdict)


def test_judge_gives_the_same_numbers_from_the_record_alone(tmp_path: Path) -> None:
    assert_judged_alike("acceptance", tmp_path)


def test_readings_as_csv_are_read_as_the_readme_says(tmp_path: Path) -> None:
    _, result, record = ran("acceptance", "healthy", 1)
    table = str(tmp_path / "run.csv")
    done = steadyrail("report", str(record), "--readings", table, "--to", "r.html", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"```python\n(import pandas\n.*?)```", readme, re.DOTALL)
    names: dict[str, Any] = {}
    with contextlib.chdir(tmp_path):
        exec(code, names)  # noqa: S102  # our own documentation
    readings = names["readings"]
    by_channel = readings.groupby("channel")["unit"].unique()
    assert {name: list(units) for name, units in by_channel.items()} == {
        "current.load": ["A"],
        "current.shunt": ["A"],
        "temperature.heatsink": ["°C"],
        "voltage.load": ["V"],
        "voltage.sense": ["V"],
        "voltage.terminals": ["V"],
    }
    limited = names["sweep"].query("channel == 'current.shunt' and load_setting == 15")
    figures = {one["name"]: one["value"] for one in result["figures"]}
    assert limited["value"].mean() == pytest.approx(figures["limit_current"], abs=2e-3)
    steps = readings.query("trial_name == 'load_steps' and load_mode == 'current'")
    assert (steps["load_unit"] == "A").all()
    held = steps.query("role == 'read' and channel == 'current.shunt' and load_setting > 2.9")
    assert held["value"].mean() == pytest.approx(3.0, abs=0.01)
    assert (readings["supply_setting_v"].dropna() == 30.0).all()


def test_a_finished_record_verifies_and_an_altered_one_does_not(tmp_path: Path) -> None:
    _, _, record = ran("acceptance", "healthy", 1)
    good = steadyrail("verify", str(record), "--json", cwd=tmp_path)
    assert good.returncode == 0
    assert json.loads(good.stdout)["verdicts_follow"] is True
    altered = tmp_path / "altered.sqlite"
    content = record.read_bytes()
    with RecordReader.open(record) as reader:
        raw = reader.frame().iloc[100]["raw"].encode()
    changed = raw[:-5] + (b"1" if raw[-5:-4] != b"1" else b"2") + raw[-4:]
    assert raw in content
    altered.write_bytes(content.replace(raw, changed, 1))
    bad = steadyrail("verify", str(altered), "--json", cwd=tmp_path)
    assert bad.returncode == 1
    assert json.loads(bad.stdout)["intact"] is False


def test_the_report_stands_beside_the_record() -> None:
    _, _, record = ran("acceptance", "healthy", 1)
    page = record.with_suffix(".html").read_text(encoding="utf-8")
    assert "W-17" in page
    assert "knee" in page.lower()


def test_the_bench_is_made_safe_at_the_end_and_says_so() -> None:
    _, result, _ = ran("acceptance", "healthy", 1)
    last = [event for event in result["events"] if event["kind"] == "make safe"]
    assert len(last) == 1
    assert "verified" in last[0]["text"]
    assert "NOT VERIFIED" not in last[0]["text"]


def test_a_guard_stops_the_run_makes_safe_and_keeps_the_record(tmp_path: Path) -> None:
    shipped = Path(str(files("profiles"))) / "acceptance.toml"
    profile = tmp_path / "hot.toml"
    profile.write_text(
        shipped.read_text() + '\n[guards."temperature.heatsink"]\nat_most = "21 °C"\n'
    )
    record = tmp_path / "hot.sqlite"
    done = steadyrail("run", str(profile), "--json", "--record", str(record), cwd=tmp_path)
    assert done.returncode == 4
    result = json.loads(done.stdout)
    assert result["outcome"] == "stopped by a guard"
    texts = [event["text"] for event in result["events"]]
    assert any("temperature.heatsink was 2" in text for text in texts)
    guard = result["guard"]
    assert (guard["channel"], guard["reason"]) == ("temperature.heatsink", "too high")
    told = " ".join(done.stderr.split())
    assert told.index("temperature.heatsink was 2") < told.index("Unit W-17")
    assert (guard["bound"], guard["unit"], guard["source"]) == (21.0, "°C", "the profile")
    assert guard["value"] > 21.0
    assert guard["at"] > 0.0
    assert guard["made_safe"].startswith("Made safe, verified")
    assert result["made_safe"] is True
    assert any(text.startswith("Made safe, verified") for text in texts)
    assert steadyrail("verify", str(record), cwd=tmp_path).returncode == 0


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_an_interrupted_run_makes_safe_and_keeps_what_it_has(
    tmp_path: Path, number: signal.Signals
) -> None:
    record = tmp_path / "night.sqlite"
    process = started("overnight", record)
    process.send_signal(number)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130, err
    assert "Traceback" not in err
    result = json.loads(out)
    assert result["outcome"] == "interrupted"
    assert any("Made safe, verified" in event["text"] for event in result["events"])
    assert {v["verdict"] for v in result["verdicts"]} == {"not covered"}


def _heed_the_interrupt() -> None:
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def started(profile: str, record: Path) -> "subprocess.Popen[str]":
    """Start a run in a process of its own and wait until it has begun to read."""
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "sequencer.command_line.app", "run", profile, "--json"),
            *("--record", str(record)),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        # Started behind a shell's back the tests ignore the interrupt, and so would the run.
        preexec_fn=_heed_the_interrupt,  # noqa: PLW1509  # no threads here
    )
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not _has_readings(record):
        assert process.poll() is None, process.communicate()[1]
        time.sleep(0.2)  # another process's progress can only be waited for
    return process


def _has_readings(record: Path) -> bool:
    if not record.exists():
        return False
    with RecordReader.open(record) as reader:
        return len(reader.frame()) > 400


def test_reversed_sense_leads_end_the_run_before_the_current_is_raised() -> None:
    done, result, record = ran("acceptance", "sense-reversed", 1)
    assert done.returncode == 3
    assert {v["verdict"] for v in result["verdicts"]} == {"not covered"}
    assert any("the sense leads look reversed" in event["text"] for event in result["events"])
    with RecordReader.open(record) as reader:
        frame = reader.frame()
    currents = frame[frame["channel"] == "current.load"]["value"]
    assert currents.max() < 0.5


def test_open_sense_leads_end_the_run_before_the_current_is_raised() -> None:
    done, result, record = ran("acceptance", "sense-open", 1)
    assert done.returncode == 3
    assert {v["verdict"] for v in result["verdicts"]} == {"not covered"}
    assert any("does not follow its sense leads" in event["text"] for event in result["events"])
    with RecordReader.open(record) as reader:
        frame = reader.frame()
    assert frame[frame["channel"] == "current.load"]["value"].max() < 0.2


def test_a_frozen_meter_passes_nothing_that_it_did_not_measure() -> None:
    done, result, _ = ran("acceptance", "frozen-reading", 1)
    assert done.returncode not in {0, 1}
    passed = {v["figure"] for v in result["verdicts"] if v["verdict"] == "pass"}
    assert passed <= {"sense_error"}  # measured before the meter froze


def test_an_output_that_gave_way_for_a_time_is_passed_by_nothing() -> None:
    done, result, record = ran("acceptance", "line-fails", 1)
    assert {one["verdict"] for one in result["verdicts"]} == {"pass"}  # the line came back in time
    assert (done.returncode, result["exit"], result["outcome"]) == (3, 3, "output fell")
    assert sum(note.startswith("Warning: the output fell to") for note in result["notes"]) == 1
    again = steadyrail("judge", str(record), "--json", cwd=record.parent)
    assert (again.returncode, json.loads(again.stdout)["outcome"]) == (3, "output fell")


def test_a_late_answer_is_recovered_with_an_event_and_the_same_verdicts() -> None:
    done, result, _ = ran("acceptance", "late-answer", 1)
    assert done.returncode == 0, done.stderr
    assert any(event["kind"] == "reopened" for event in result["events"])


def test_two_signals_at_once_still_end_with_the_bench_made_safe(tmp_path: Path) -> None:
    record = tmp_path / "night.sqlite"
    process = started("overnight", record)
    for _ in range(20):
        process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=60)
    assert process.returncode == 130, err
    result = json.loads(out)
    assert any("Made safe, verified" in event["text"] for event in result["events"])


def test_judging_an_altered_record_says_so_and_is_no_success(tmp_path: Path) -> None:
    _, _, record = ran("acceptance", "healthy", 1)
    altered = tmp_path / "altered.sqlite"
    altered.write_bytes(record.read_bytes())
    with sqlite3.connect(altered) as connection:
        for table in ("readings",):
            connection.execute(f"DROP TRIGGER {table}_no_update")
        connection.execute("UPDATE readings SET value = value * 1.0001 WHERE id % 2 = 0")
    judged = steadyrail("judge", str(altered), "--json", cwd=tmp_path)
    assert judged.returncode == 2
    assert json.loads(judged.stdout)["outcome"] == "record altered"
