"""A current limit beyond what a guard lets flow: failed where readings show it, never guessed."""

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from called import steadyrail

from sequencer.documents.load import Documents, load_profile
from sequencer.judging import judge_evidence
from sequencer.record.read import Step
from sequencer.requests import Applied, Apply, Array, LoadState, Read, Readings, Settle
from sequencer.results import Figure
from sequencer.trials.limit_beyond import beyond, folds_back
from sequencer.trials.limit_sweep import Settings
from sequencer.trials.trial import Context, Evidence
from sequencer.verdicts.judge import judge

SCENARIO = """
name = "high-limit"
description = "The current limit stands far above what is promised"
based_on = "healthy"
[regulator]
limit_current = "4.95 A"
"""
PROFILE = """
[profile]
name = "sweep"
unit = "w-17"
bench = "simulated"
[outputs]
report = false
[[trials]]
trial = "limit_sweep"
voltage = "30 V"
"""
SETTINGS = Settings(voltage="30 V")


@pytest.fixture(scope="module")
def documents() -> Documents:
    return load_profile("acceptance")


def read(**columns: list[float]) -> Readings:
    """Return readings a quarter of a second apart."""
    value = {name.replace("_", "."): np.array(column) for name, column in columns.items()}
    times: dict[str, Array] = {n: np.arange(v.size) / 4.0 for n, v in value.items()}
    return Readings(times, times, value)


def cut_off(
    documents: Documents, level: float, voltage: list[float], current: list[float], mode: str
) -> Evidence:
    """Return a sweep that was ended in its first visit, by what a guard read while settling."""
    state = LoadState(mode, level, on=True)  # type: ignore[arg-type]  # made up here
    watched = read(current_shunt=current)
    watched = replace(watched, asked={"current.shunt": 0.25 * np.array([len(voltage) - 1])})
    line = Read(("voltage.sense",), 2, 0.25, {"region": "voltage line"})
    steps = (
        Step(0, line, read(voltage_sense=[30.0, 30.0])),
        Step(1, Apply(state), Applied(0.0, {})),
        Step(2, Settle({}, 1.0, 0.25, 9.0), None, read(voltage_sense=voltage), watched),
    )
    return Evidence("limit_sweep", Context(documents.unit, documents.bench), steps)


def found(documents: Documents, *what: object) -> Mapping[str, Figure]:
    return beyond(SETTINGS, cut_off(documents, *what))  # type: ignore[arg-type]


AT_REST = [22.7, 22.501, 22.5, 22.5, 22.501]


def test_what_flowed_at_rest_is_a_bound_a_tenth_lower(documents: Documents) -> None:
    figure = found(documents, 22.5, AT_REST, [5.0], "voltage")["limit_current"]
    assert figure.value == pytest.approx(4.5)
    assert figure.reached == {"current_to": 5.0, "voltage": 30.0}
    assert figure.expanded > 0.0


@pytest.mark.parametrize(
    ("level", "voltage", "current", "mode"),
    [
        (22.5, [27.0, 24.0, 22.6], [5.0], "voltage"),  # the output is still coming down
        (22.5, [22.5], [5.0], "voltage"),  # the first reading: its capacitor empties
        (22.5, [26.0] * 5, [5.0], "voltage"),  # the load doesn't hold it
        (29.0, [29.0] * 5, [5.0], "voltage"),  # the corner, not the limit
        (5.0, [5.0] * 5, [5.0], "voltage"),
        (22.5, AT_REST, [float("nan")], "voltage"),
        (22.5, AT_REST, [5.0], "current"),
    ],
)
def test_anything_else_shows_nothing(
    documents: Documents, level: float, voltage: list[float], current: list[float], mode: str
) -> None:
    assert found(documents, level, voltage, current, mode) == {}


def test_a_unit_that_promises_to_fold_back_may_give_less_at_half_its_setting(
    documents: Documents, tmp_path: Path
) -> None:
    assert not folds_back(documents.unit)
    folding = tmp_path / "folding.toml"
    folding.write_text(Path(documents.unit_source.path).read_text().replace('"3.9 A"', '"1 A"'))
    unit = load_profile("acceptance", unit=str(folding)).unit
    assert folds_back(unit)
    assert found(replace(documents, unit=unit), 22.5, AT_REST, [5.0], "voltage") == {}


class Upto:
    """A limit of 3.0 A to some current, for 30 V."""

    figure, unit = "limit_current", "A"

    def __init__(self, documents: Documents, high: float) -> None:
        limits = {one.judged_figure: one for one in documents.unit.limits}
        self.condition = limits["limit_current"].condition
        self.high = high

    def lower(self, setting: float) -> float:  # noqa: ARG002  # the shape that the judge asks for
        return 3.0

    def upper(self, setting: float) -> float:  # noqa: ARG002
        return self.high


@pytest.mark.parametrize(("high", "outcome"), [(3.6, "fail"), (4.499, "not covered")])
def test_it_fails_only_by_more_than_u(documents: Documents, high: float, outcome: str) -> None:
    shown = found(documents, 22.5, AT_REST, [5.0], "voltage")
    assert 4.5 - shown["limit_current"].expanded < 4.499
    (verdict,) = judge([], [Upto(documents, high)], "guarded", {}, shown)
    assert verdict.outcome == outcome


def test_a_whole_run_fails_the_limit_and_says_what_happened_and_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "high.toml").write_text(SCENARIO)
    (tmp_path / "sweep.toml").write_text(PROFILE)
    scenario = str(tmp_path / "high.toml")
    done = steadyrail("run", "sweep.toml", "--scenario", scenario, "--json", cwd=tmp_path)
    assert done.returncode == 4
    result = json.loads(done.stdout)
    outcomes = {one["figure"]: one for one in result["verdicts"]}
    assert outcomes["limit_current"]["verdict"] == "fail"
    assert "5.006 A flowed with the output held at 22.5 V" in outcomes["limit_current"]["why"]
    assert outcomes["short_current"]["verdict"] == "not covered"
    (note,) = [n for n in result["notes"] if "guard ended the sweep" in n]
    assert "the guard of current.shunt allows (4.875 A, by the unit's ratings)" in note
    assert "turn it down and measure again" in note
    assert "raise the guard knowingly" in note


def test_the_plan_warns_of_guards_that_a_good_unit_could_trip(tmp_path: Path) -> None:
    shipped = Path(load_profile("acceptance").bench_source.path).read_text()
    low = shipped + '\n[guards."current.shunt"]\nat_most = "3.5 A"\n'
    (tmp_path / "low.toml").write_text(low)
    text = " ".join(
        steadyrail("plan", "acceptance", "--bench", "low.toml", cwd=tmp_path).stdout.split()
    )
    assert "ends a sweep at current.shunt above 3.5 A (by the bench document)" in text
    assert "limit as high as 3.9 A" in text
    assert "ends a sweep" not in steadyrail("plan", "acceptance", cwd=tmp_path).stdout


def test_a_trial_that_measured_nothing_is_not_called_cold(documents: Documents) -> None:
    assert not any("Not warmed up" in note for note in judge_evidence(documents, []).notes)
