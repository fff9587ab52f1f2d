"""Never a pass for what was not measured."""

import math
from dataclasses import dataclass, replace

import pytest

from sequencer.documents.figure_names import OF_THE_LIMIT
from sequencer.results import Figure
from sequencer.trials import limit_sweep
from sequencer.verdicts.apart import told_apart
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
    assert "reached: 2 A" in check.why


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
    assert "reached: 60 min" in verdict.why
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
    (verdict,) = judge([make(0.5)], [Span("drift", 0.5, 0.5)], "simple")
    assert verdict.outcome == "not covered"
    assert "without width" in verdict.why


def test_a_percentage_of_an_unknown_setting_is_not_judged():
    figure = replace(make(0.5), reached={})
    (verdict,) = judge([figure], [Promise("drift", 0.0, None, 0.01)], "guarded")
    assert verdict.outcome == "not covered"
    assert "percentage of the setting" in verdict.why


def test_a_percentage_of_a_current_is_of_the_current():
    figure = replace(make(3.05), name="limit_current", unit="A")
    stated = Stated(voltage=30.0, current_to=3.0)
    promise = Promise("limit_current", 3.0, stated, percent=0.1, unit="A")
    (verdict,) = judge([figure], [promise], "simple")
    assert verdict.upper == pytest.approx(3.3)  # 3 A + 10 % of 3 A, not of 30 V


STEPS = {"voltage": 30.0, "current_from": 0.0, "current_to": 3.0}


def regulation(value, name="load_regulation", **reached):
    return Figure("steps", name, value, "V", 0.1, math.inf, 2.0, 0.2, reached={**STEPS, **reached})


def outcome(figure, stated, low=None, high=1.0):
    (verdict,) = judge([figure], [Span(figure.name, low, high, stated)], "guarded")
    return verdict.outcome


TO_3_A, TO_1_5_A, TO_6_A = (Stated(30.0, None, amperes) for amperes in (3.0, 1.5, 6.0))


@pytest.mark.parametrize(
    ("value", "stated", "expected"),
    [
        (2.0, TO_3_A, "fail"),
        (2.0, Stated(10.0, None, 3.0), "not covered"),  # another setting tells nothing
        (2.0, TO_6_A, "fail"),  # too great already
        (0.5, TO_6_A, "not covered"),
        (1.1, TO_6_A, "not covered"),
        (2.0, Stated(10.0, None, 6.0), "not covered"),
        (2.0, TO_1_5_A, "not covered"),  # at half the current it may be less
        (1.1, TO_1_5_A, "not covered"),
        (0.9, TO_1_5_A, "conditional pass"),
        (0.5, TO_1_5_A, "pass"),  # and at half the current it is no greater
        (2.0, Stated(30.0, 1.0, 3.0), "not covered"),
        (0.5, Stated(30.0, 1.0, 3.0), "pass"),
        (2.0, Stated(30.0, None, 2.98), "fail"),  # what a load sets too much
    ],
)
def test_load_regulation_over_another_range(value, stated, expected):
    assert outcome(regulation(value), stated) == expected


def test_a_pass_over_more_says_over_what():
    (verdict,) = judge([regulation(0.5)], [Span("load_regulation", None, 1.0, TO_1_5_A)], "guarded")
    assert "a greatest current of 3 A where the limit is stated for 1.5 A" in verdict.remarks[-1]
    (other,) = judge([regulation(2.0)], [Span("load_regulation", None, 1.0, TO_1_5_A)], "guarded")
    assert "Let a trial go so far and no further." in other.why
    assert other.coverage is not None
    assert (other.coverage.reached, other.coverage.required) == (3.0, 1.5)


def test_a_trial_of_the_promised_range_is_preferred_to_one_over_more():
    figures = [regulation(2.0), replace(regulation(0.5, current_to=1.5), trial="half")]
    verdicts = judge(figures, [Span("load_regulation", None, 1.0, TO_1_5_A)], "guarded")
    assert [(one.trial, one.outcome) for one in verdicts] == [("half", "pass")]


def test_a_value_nearer_to_zero_does_not_keep_a_limit_that_zero_breaks():
    assert outcome(regulation(-0.5, "load_change"), TO_1_5_A, -1.0, 1.0) == "pass"
    assert outcome(regulation(-0.5, "load_change"), TO_1_5_A, -1.0, -0.1) == "not covered"


@pytest.mark.parametrize("name", ["load_linearity", "drift_about_mean", "load_change"])
def test_what_departs_from_a_line_or_a_mean_is_no_fail_before_the_whole_range(name):
    assert outcome(regulation(2.0, name, duration=60.0), TO_6_A) == "not covered"
    assert outcome(regulation(2.0, name, duration=60.0), Stated(duration=28800.0)) == "not covered"


@pytest.mark.parametrize(
    ("name", "value", "hours", "expected"),
    [
        ("drift", 2.0, 4.0, "fail"),
        ("drift", 0.5, 4.0, "not covered"),
        ("drift", 2.0, 24.0, "not covered"),
        ("drift", 0.5, 24.0, "pass"),
        ("drift_rate", 2.0, 24.0, "not covered"),  # a drift that settles is slower over more
        ("drift_rate", 0.5, 24.0, "not covered"),
        ("temperature_coefficient", 2.0, 24.0, "fail"),  # a longer soak only knows it better
        ("thermal_tail", 0.5, 24.0, "not covered"),
        ("residual_voltage", 0.5, 24.0, "not covered"),  # it falls: later is less
        ("residual_voltage", 2.0, 24.0, "not covered"),
        ("residual_voltage", 2.0, 8.0, "fail"),
    ],
)
def test_another_time_than_the_promised_one(name, value, hours, expected):
    figure = regulation(value, name, duration=3600.0 * hours)
    assert outcome(figure, Stated(duration=28800.0)) == expected


@pytest.mark.parametrize(
    ("lowest", "value", "expected"),
    [(14.6, 2.0, "fail"), (1.0, 2.0, "not covered"), (1.0, 0.5, "not covered")],
)
def test_a_limit_that_folds_back_is_judged_at_the_promised_voltage(lowest, value, expected):
    figure = regulation(value, "short_current", load_voltage=lowest)
    assert outcome(figure, Stated(30.0, load_voltage=15.0)) == expected
    assert (
        outcome(replace(figure, name="limit_current"), Stated(load_voltage=15.0)) != "not covered"
    )


def test_what_is_of_the_limit_is_what_its_trial_gives():
    assert set(limit_sweep.TRIAL.gives) == set(OF_THE_LIMIT)


def test_a_limit_traced_further_than_promised_is_judged():
    figure = regulation(2.0, "limit_current")
    assert outcome(figure, Stated(30.0, None, 2.0)) == "fail"


def test_what_was_not_measured_has_no_reached_value():
    figure = replace(regulation(0.5), reached={})
    (verdict,) = judge([figure], [Span("load_regulation", None, 1.0, TO_3_A)], "guarded")
    assert verdict.coverage is not None
    assert verdict.coverage.reached is None


def test_from_a_current_that_no_trial_begins_at_only_a_pass_is_told():
    (verdict,) = judge(
        [regulation(2.0)],
        [Span("load_regulation", None, 1.0, Stated(30.0, 0.3, 3.0))],
        "guarded",
    )
    assert "Trials begin without load, so this can't be told from them." in verdict.why


def test_bounds_in_per_cent_are_told_apart_as_they_are_stated():
    limits = [Promise("drift", 2e-3, None, 2e-4), Promise("drift", 0.0, None, 2e-4)]
    assert told_apart(limits) == ("≤ 0.02 % + 2 mV", "≤ 0.02 %")


def test_limits_on_one_figure_are_told_apart_by_what_differs():
    limits = [
        Span("load_regulation", None, 1.0, TO_3_A),
        Span("load_regulation", None, 0.5, TO_1_5_A),
        Span("drift", None, 1.0, Stated(voltage=30.0)),
    ]
    assert told_apart(limits) == ("to 3 A", "to 1.5 A", "")
    assert told_apart([*limits, Span("load_regulation", -0.1, 0.4, TO_1_5_A)]) == (
        "to 3 A",
        "to 1.5 A ≤ 500 mV",
        "",
        "to 1.5 A ≥ −100 mV ≤ 400 mV",
    )
    verdicts = judge([regulation(0.2), regulation(0.2)], limits[:2], "guarded")
    assert [one.apart for one in verdicts] == ["to 3 A", "to 3 A", "to 1.5 A", "to 1.5 A"]


@dataclass(frozen=True)
class Span:
    figure: str
    low: float | None
    high: float | None
    condition: Stated | None = None
    unit: str = "V"

    def lower(self, setting):  # noqa: ARG002 - the shape that the judge asks for
        return self.low

    def upper(self, setting):  # noqa: ARG002
        return self.high
