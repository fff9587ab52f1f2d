import json
import math
from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st
from made_up_result import FIGURES, VERDICTS, made_up_result

from sequencer.outputs.json_object import json_object, json_text
from sequencer.results import Tripped

FIGURE_KEYS = ["trial", "name", "value", "unit", "u", "dof", "k", "U", "coverage"]
VERDICT_KEYS = ["figure", "trial", "limit", "unit", "rule", "verdict", "probability", "ratio"]


def test_the_object_has_the_promised_keys_in_order():
    found = json.loads(json_text(made_up_result()))
    assert list(found) == [
        *("record", "unit", "profile", "bench", "simulated", "started", "ended"),
        *("outcome", "exit", "alarm", "guard", "made_safe"),
        *("figures", "verdicts", "events", "notes"),
    ]
    for figure in found["figures"]:
        assert list(figure)[: len(FIGURE_KEYS)] == FIGURE_KEYS
    for verdict in found["verdicts"]:
        assert list(verdict)[: len(VERDICT_KEYS)] == VERDICT_KEYS


def test_the_guard_that_ended_the_run_is_told_with_all_it_knew():
    tripped = Tripped(
        *("temperature.heatsink", "rises too fast", 0.11, float("inf"), "K/s", "the bench", 812.5),
        *("It rose.", "Made safe."),
    )
    found = json_object(made_up_result(guard=tripped, alarm="Look!", made_safe=False))
    assert found["guard"] == {
        "channel": "temperature.heatsink",
        "reason": "rises too fast",
        "value": 0.11,
        "bound": None,
        "unit": "K/s",
        "source": "the bench",
        "at": 812.5,
        "text": "It rose.",
        "made_safe": "Made safe.",
    }
    assert (found["alarm"], found["made_safe"]) == ("Look!", False)
    quiet = json_object(made_up_result())
    assert (quiet["alarm"], quiet["guard"]) == (None, None)


def test_values_are_si_and_unrounded():
    found = json_object(made_up_result())
    drift = next(one for one in found["figures"] if one["name"] == "drift")
    source = next(one for one in FIGURES if one.name == "drift")
    assert drift["value"] == source.value
    assert drift["U"] == source.expanded
    assert drift["coverage"]["required"] == 28_800.0
    assert drift["coverage"]["unit"] == "s"


def test_a_limit_is_a_number_or_an_interval():
    verdicts = json_object(made_up_result())["verdicts"]
    limits = {one["figure"]: one["limit"] for one in verdicts}
    assert limits["drift"] == 30e-3
    assert limits["knee_current"] == 3.0
    assert limits["limit_current"] == [3.0, 3.6]


def test_not_covered_has_no_probability():
    verdicts = {one["figure"]: one for one in json_object(made_up_result())["verdicts"]}
    assert verdicts["short_current"]["verdict"] == "not covered"
    assert verdicts["short_current"]["probability"] is None


def test_risks_and_remarks_stand_beside_each_verdict():
    verdict = replace(VERDICTS[0], false_accept=0.0225, false_reject=0.0, remarks=("Weak.",))
    (found,) = json_object(made_up_result(verdicts=(verdict,)))["verdicts"]
    assert (found["false_accept"], found["false_reject"]) == (0.0225, 0.0)
    assert found["remarks"] == ["Weak."]


def test_infinite_degrees_of_freedom_are_null():
    found = json_object(made_up_result())
    drift = next(one for one in found["figures"] if one["name"] == "drift")
    assert drift["dof"] is None


@given(st.floats(), st.floats(), st.text())
def test_whatever_is_found_the_text_is_one_line_of_strict_json(value, u, text):
    figure = replace(FIGURES[0], value=value, u=u, name=text)
    verdict = replace(VERDICTS[0], probability=value, upper=u, why=text)
    result = made_up_result(figures=(figure,), verdicts=(verdict,), record=text)
    line = json_text(result)
    assert "\n" not in line
    assert line.isascii()

    def refuse(constant):
        raise AssertionError(constant)

    found = json.loads(line, parse_constant=refuse)
    assert found["record"] == text
    expected = value if math.isfinite(value) else None
    assert found["figures"][0]["value"] == expected
