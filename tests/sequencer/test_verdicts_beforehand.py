"""What a bench's accuracy leaves of a limit before a run: on the rehearsal's nominal unit."""

import json
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from called import steadyrail
from test_command_line_plan import PROFILES, said

from sequencer.documents.load import load_profile
from sequencer.planning import make_plan
from sequencer.uncertainty.combine import normal, rectangular
from sequencer.uncertainty.figure import make_figure
from sequencer.verdicts.beforehand import beforehand
from sequencer.verdicts.decide import decide

COARSE = ("--bench", "simulated-hand-held")


def sense_error(u: float, value: float = 1e-3):
    parts = [normal("noise", u), rectangular("gain", 0.01 * u)]
    return make_figure("sense_check", "sense_error", value, "V", parts, reached={})


def known(u: float, lower: float | None, upper: float | None, *, rule="guarded"):
    figure = sense_error(u)
    found = beforehand(figure, decide(figure, lower, upper, rule, True))
    assert found is not None
    return found


def test_a_limit_of_more_than_four_times_u_needs_no_words() -> None:
    found = known(0.1e-3, None, 1e-3)
    assert (found.no_room, found.words) == (False, "")
    assert found.ratio == pytest.approx(5.0, rel=1e-2)


def test_a_limit_below_four_times_u_says_what_would_make_it_four() -> None:
    found = known(0.2e-3, None, 1e-3)
    assert not found.no_room
    assert "the limit of 1 mV is only 2.5 times as much" in found.words
    assert "It would need U of at most 250 µV: about 2.6 times as many readings" in found.words


@pytest.mark.parametrize(
    ("rule", "so"), [("guarded", "no value could pass"), ("simple", "a verdict tells nothing")]
)
def test_a_limit_below_u_leaves_no_room_whatever_the_unit(rule: str, so: str) -> None:
    found = known(0.6e-3, None, 1e-3, rule=rule)
    assert found.no_room
    assert f"U will be about 1.2 mV, more than the limit of 1 mV: {so} then." in found.words
    assert "It would need U of at most 1 mV" in found.words


def test_a_limit_far_below_u_is_doubted_itself() -> None:
    assert "No bench meter gets near it: see whether it is right." in known(1.0, None, 1e-3).words


def test_an_interval_narrower_than_two_u_leaves_no_room() -> None:
    assert known(0.3e-3, 0.5e-3, 1.5e-3).no_room
    assert "± 500 µV about its middle" in known(0.3e-3, 0.5e-3, 1.5e-3).words
    assert not known(0.2e-3, 0.5e-3, 1.5e-3).no_room


def tight(tmp_path: Path) -> None:
    text = (PROFILES / "units" / "w-17.toml").read_text()
    changed = re.sub(r'("sense_error"\nat_most = )"3 mV"', r'\1"0.5 mV"', text)
    assert changed != text
    (tmp_path / "unit.toml").write_text(changed)


def test_a_plan_says_what_this_bench_can_and_cannot_decide(tmp_path: Path) -> None:
    tight(tmp_path)
    words = ("acceptance", "--unit", "unit.toml")
    text = " ".join(said(*words, *COARSE, cwd=tmp_path).split())
    assert "With this bench sense error can hardly be passed: U will be about 1.1 mV" in text
    assert "use a meter with one digit more" in text
    fine = " ".join(said(*words, cwd=tmp_path).split())
    assert "With this bench" not in fine
    told = json.loads(said(*words, *COARSE, "--json", cwd=tmp_path))
    limits = {one["figure"]: one for one in told["limits"]}
    assert limits["sense_error"]["no_room"]
    assert limits["sense_error"]["ratio"] == pytest.approx(0.5e-3 / limits["sense_error"]["U"])
    assert (limits["load_regulation"]["no_room"], limits["load_regulation"]["weak"]) == (
        False,
        "",
    )
    assert limits["drift"]["U"] is None  # no trial of this profile measures it


def test_a_run_says_so_before_anything_is_energised(tmp_path: Path) -> None:
    tight(tmp_path)
    bench = (
        PROFILES / "benches" / "simulated-apart.toml"
    ).read_text()  # its cautions are asked for
    assert 'resolution = "10 µV"' in bench
    (tmp_path / "bench.toml").write_text(bench.replace('"10 µV"', '"1 mV"'))
    words = ("run", "acceptance", "--unit", "unit.toml", "--bench", "bench.toml")
    done = steadyrail(*words, cwd=tmp_path)
    assert done.returncode == 2  # the cautions of a real bench were not acknowledged
    said_first, _, _ = " ".join(done.stderr.split()).partition("Nothing was energised")
    assert "With this bench sense error can hardly be passed" in said_first


def test_a_figure_that_only_a_real_unit_shows_is_not_called_unmeasured(tmp_path: Path) -> None:
    text = (PROFILES / "units" / "w-17.toml").read_text()
    limit = '[[limits]]\nfigure = "temperature_coefficient"\nat_most = "2 mV/K"\n'
    (tmp_path / "unit.toml").write_text(f"{text}\n{limit}")
    told = " ".join(said("overnight", "--unit", "unit.toml", cwd=tmp_path).split())
    assert "Perhaps not covered: temperature coefficient. On a nominal unit:" in told
    assert "the room changed by" in told
    assert "not judged: temperature coefficient" not in told


def test_where_the_values_own_distance_counts_nothing_is_said_beforehand() -> None:
    change = make_figure("steps", "load_change", -2e-3, "V", [normal("noise", 1e-4)], reached={})
    at_zero = beforehand(change, decide(change, None, 0.0, "guarded", True))
    assert at_zero is not None
    assert at_zero.words == ""
    assert decide(change, None, 0.0, "guarded", True).remarks == ()  # no share of a limit of zero
    assert known(0.5e-3, 1e-3, None).words == ""  # a lower bound: how far above is not known yet


def test_a_clear_fail_is_not_called_undecidable() -> None:
    remark = decide(sense_error(0.6e-3, 0.1), None, 1e-3, "guarded", True).remarks[0]
    assert "only a clear fail can be told" in remark
    assert "Undecidable" not in remark


LIMITS = """
[[limits]]
figure = "load_regulation"
at_most = "6 mV"
condition = { voltage = "30 V", current_to = "1.5 A" }
[[limits]]
figure = "load_regulation"
at_most = "5 mV"
condition = { voltage = "30 V", current_to = "1 A" }
[[limits]]
figure = "residual_voltage"
at_most = "5 V"
condition = { duration = "2 s" }
[[limits]]
figure = "residual_voltage"
at_most = "6 V"
condition = { duration = "1 s" }
"""
OFF = """
[profile]
name = "off"
unit = "unit.toml"
bench = "simulated"
[[trials]]
trial = "load_steps"
voltage = "30 V"
current = "3 A"
[[trials]]
trial = "output_off"
voltage = "30 V"
"""


def test_a_plan_tells_limits_on_one_figure_apart_and_what_more_than_promised_tells(
    tmp_path: Path,
) -> None:
    text = (PROFILES / "units" / "w-17.toml").read_text()
    (tmp_path / "unit.toml").write_text(text + LIMITS)
    (tmp_path / "off.toml").write_text(OFF)
    told = " ".join(said("off.toml", cwd=tmp_path).split())
    assert (
        "Will be covered: load regulation to 3 A, output resistance, load regulation to 1.5 A, "
        "residual voltage over 2 s." in told
    )
    assert (
        "Perhaps not covered: load regulation to 1 A. Measured to a greatest current of 3 A where "
        "the limit is stated for 1 A. It will tell only if it passes there." in told
    )
    assert "Will NOT be covered: residual voltage over 1 s. Measured to a time of 2 s" in told


RANGE = """
[[limits]]
figure = "load_regulation"
at_most = "6 mV"
condition = { voltage = "10 V", current_to = "3 A" }
"""


def test_a_promise_at_another_voltage_than_the_profiles_is_not_judged_by_it(tmp_path: Path) -> None:
    text = (PROFILES / "units" / "w-17.toml").read_text()
    (tmp_path / "unit.toml").write_text(text + RANGE)
    low = OFF.partition('[[trials]]\ntrial = "output_off"')[0].replace("30 V", "10 V")
    (tmp_path / "low.toml").write_text(low)
    told = " ".join(said("low.toml", cwd=tmp_path).split())
    assert "Will be covered: load regulation at 10 V." in told
    assert "so not judged: load regulation at 30 V, output resistance at 30 V, sense error" in told
    done = steadyrail("run", "low.toml", "--json", "--record", "low.sqlite", cwd=tmp_path)
    result = json.loads(done.stdout)
    assert [(one["apart"], one["verdict"]) for one in result["verdicts"]] == [("at 10 V", "pass")]
    assert done.returncode == 0
    assert any("load regulation at 30 V, output resistance at" in note for note in result["notes"])


@pytest.mark.parametrize(
    ("volts", "measured"), [("29.8 V", True), ("29.6 V", True), ("10 V", False)]
)
def test_a_trial_beside_every_promised_voltage_leaves_no_promise_out(
    tmp_path: Path, volts: str, measured: bool
) -> None:
    text = (PROFILES / "units" / "w-17.toml").read_text()
    (tmp_path / "unit.toml").write_text(text + RANGE)
    head = OFF.partition('[[trials]]\ntrial = "output_off"')[0]
    (tmp_path / "beside.toml").write_text(head.replace("30 V", volts))
    plan = make_plan(load_profile(tmp_path / "beside.toml"))
    found = {(one.figure, one.apart): one for one in plan.limits}
    assert found["load_regulation", "at 30 V"].measured is measured
    assert found["load_regulation", "at 30 V"].covered is (volts == "29.8 V")
    assert found["load_regulation", "at 10 V"].covered is (volts == "10 V")


@pytest.mark.parametrize("day", [None, date(2026, 6, 1)])
def test_a_plan_takes_calibrations_to_be_as_old_as_they_are(day: date | None) -> None:
    documents = load_profile("acceptance")
    entry = documents.bench.channels["voltage.sense"]
    aged = entry.accuracy.model_copy(
        update={"calibrated": date(2026, 5, 1), "yearly_gain": 0.1, "yearly_offset": 0.0}
    )
    channels = documents.bench.channels | {
        "voltage.sense": entry.model_copy(update={"accuracy": aged})
    }
    bench = documents.bench.model_copy(update={"channels": channels})
    plan = make_plan(replace(documents, bench=bench), day)
    (limit,) = (one for one in plan.limits if one.figure == "load_regulation")
    assert limit.beforehand is not None
    share = 1.0 if day is None else 31 / 365.25
    least = 1.65 * 0.1 * share * 3e-3 / 3**0.5
    assert limit.beforehand.expanded > least
    assert day is None or limit.beforehand.expanded < 1.65 * 0.1 * 3e-3 / 3**0.5
