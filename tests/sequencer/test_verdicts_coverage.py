"""Never a pass for what was not measured."""

import math
from dataclasses import dataclass, replace

import pytest

from sequencer.results import Figure
from sequencer.verdicts.coverage import check_coverage
from sequencer.verdicts.judge import judge, with_coverage


@dataclass(frozen=True)
class Stated:
    voltage: float | None = None
    current_from: float | None = None
    current_to: float | None = None
    duration: float | None = None
    load_voltage: float | None = None
    line_from: float | None = None
    line_to: float | None = None


@dataclass(frozen=True)
class Promise:
    figure: str
    high: float
    condition: Stated | None = None
    percent: float = 0.0
    unit: str = "V"

    def lower(self, setting):  # noqa: ARG002 - the shape that the judge asks for
        return None

    def upper(self, setting):
        return self.high + self.percent * setting


FULL = {"voltage": 30.0, "current_from": 0.0, "current_to": 3.0, "duration": 28800.0}


@pytest.mark.parametrize(
    ("stated", "reached", "covered"),
    [
        ({}, {}, True),
        ({"voltage": 30.0}, FULL, True),
        ({"voltage": 30.0}, {"voltage": 30.29}, True),
        ({"voltage": 30.0}, {"voltage": 29.6}, False),
        ({"voltage": 30.0}, {}, False),
        ({"current_to": 3.0}, {"current_to": 2.986}, True),
        ({"current_to": 3.0}, {"current_to": 2.98}, False),
        ({"current_to": 3.0}, {"current_to": math.nan}, False),
        ({"current_from": 0.0, "current_to": 3.0}, {**FULL, "current_from": 0.01}, True),
        ({"current_from": 0.0, "current_to": 3.0}, {**FULL, "current_from": 0.1}, False),
        ({"duration": 28800.0}, {"duration": 28799.0}, True),
        ({"duration": 28800.0}, {"duration": 28740.0}, False),
        ({"load_voltage": 1.0}, {"load_voltage": 1.04}, True),
        ({"load_voltage": 1.0}, {"load_voltage": 1.2}, False),
        ({"load_voltage": 1.0}, FULL, False),
        ({"line_from": -0.1}, {"line_from": -0.1}, True),
        ({"line_from": -0.1}, {"line_from": -0.05}, False),
        ({"line_from": -0.1}, FULL, False),
        ({"line_to": 0.1}, {"line_to": 0.095}, True),
        ({"line_to": 0.1}, {"line_to": 0.0}, False),
    ],
)
def test_covered(stated, reached, covered):
    assert check_coverage(reached, Stated(**stated)).covered is covered


def test_deciding_quantity_is_the_one_that_fell_short():
    check = check_coverage({**FULL, "current_to": 2.0}, Stated(30.0, 0.0, 3.0, 28800.0))
    assert check.coverage is not None
    assert check.coverage.quantity == "current_to"
    assert (check.coverage.required, check.coverage.reached) == (3.0, 2.0)
    assert "3 A" in check.why
    assert "2 A was reached" in check.why


def test_several_shortfalls_are_all_named():
    why = check_coverage({"voltage": 15.0, "current_to": 2.0}, Stated(30.0, None, 3.0)).why
    assert "current" in why
    assert "voltage" in why


def make(value, trial="soak", **reached):
    return Figure(trial, "drift", value, "V", 0.1, math.inf, 2.0, 0.2, reached={**FULL, **reached})


PROMISE = Promise("drift", 1.0, Stated(voltage=30.0, duration=28800.0), percent=0.01)


def test_limit_without_figure_is_not_covered():
    (verdict,) = judge([], [PROMISE], "guarded")
    assert verdict.outcome == "not covered"
    assert verdict.upper == pytest.approx(1.3)
    assert verdict.figure == "drift"


def test_short_soak_is_not_passed():
    (verdict,) = judge([make(0.0, duration=3600.0)], [PROMISE], "guarded")
    assert verdict.outcome == "not covered"
    assert "was reached" in verdict.why
    assert verdict.probability is None


def test_percent_is_of_the_stated_setting():
    (verdict,) = judge([make(1.05)], [PROMISE], "guarded")
    assert verdict.upper == pytest.approx(1.3)
    assert verdict.outcome == "pass"
    (other,) = judge([make(1.05, voltage=10.0)], [Promise("drift", 1.0, None, 0.01)], "guarded")
    assert other.upper == pytest.approx(1.1)


def test_of_several_trials_those_that_covered_are_judged():
    figures = [make(0.0, "short", duration=60.0), make(0.5, "long"), make(5.0, "again")]
    verdicts = judge(figures, [PROMISE], "guarded")
    assert [(v.trial, v.outcome) for v in verdicts] == [("long", "pass"), ("again", "fail")]


def test_figures_carry_the_coverage_of_their_limit():
    short, other = with_coverage(
        [make(0.0, duration=60.0), Figure("t", "span", 1, "V", 1, 1, 2, 2)], [PROMISE]
    )
    assert short.coverage is not None
    assert short.coverage.reached == 60.0
    assert other.coverage is None


@pytest.mark.parametrize(
    ("bad", "says"),
    [
        ({"u": 0.0, "expanded": 0.0}, "without uncertainty can't be judged"),
        ({"value": math.nan}, "expected a finite value"),
        ({"u": math.nan, "expanded": math.nan}, "expected a finite value"),
        ({"value": math.inf}, "expected a finite value"),
    ],
)
def test_what_can_not_be_judged_costs_the_others_nothing(bad, says):
    other = Figure("t", "span", 0.1, "V", 0.01, math.inf, 2.0, 0.02)
    broken, whole = judge(
        [replace(make(0.5), **bad), other], [PROMISE, Promise("span", 1.0)], "guarded"
    )
    assert broken.outcome == "not covered"
    assert says in broken.why
    assert whole.outcome == "pass"


def test_a_limit_without_width_is_never_passed():
    (verdict,) = judge([make(0.5)], [Between("drift", 0.5, 0.5)], "simple")
    assert verdict.outcome == "not covered"
    assert "without width" in verdict.why


def test_a_percentage_of_an_unknown_setting_is_not_judged():
    figure = replace(make(0.5), reached={})
    (verdict,) = judge([figure], [Promise("drift", 0.0, None, 0.01)], "guarded")
    assert verdict.outcome == "not covered"
    assert "percentage of the setting" in verdict.why


def test_a_percentage_of_a_current_is_of_the_current():
    figure = replace(make(3.05), name="limit_current", unit="A")
    promise = Promise("limit_current", 3.0, None, percent=0.1, unit="A")
    (verdict,) = judge([figure], [promise], "simple")
    assert verdict.upper == pytest.approx(3.3)  # 3 A + 10 % of 3 A, not of 30 V


@dataclass(frozen=True)
class Between:
    figure: str
    low: float
    high: float
    condition: Stated | None = None
    unit: str = "V"

    def lower(self, setting):  # noqa: ARG002 - the shape that the judge asks for
        return self.low

    def upper(self, setting):  # noqa: ARG002
        return self.high
