"""Decision rules: outcomes, probability, ratio and remarks."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import Exit, FigureError
from sequencer.results import Component, Figure, Verdict
from sequencer.verdicts.decide import decide, probability_of_conformance
from sequencer.verdicts.outcome import outcome


def figure(value, u=0.5, dof=math.inf, k=2.0, budget=()):
    return Figure("t", "drift", value, "V", u, dof, k, k * u, budget=budget)


@pytest.mark.parametrize(
    ("value", "guarded", "simple"),
    [
        (8.9, "pass", "pass"),
        (9.0, "pass", "pass"),
        (9.5, "conditional pass", "pass"),
        (10.0, "conditional pass", "pass"),
        (10.5, "conditional fail", "fail"),
        (11.0, "conditional fail", "fail"),
        (11.1, "fail", "fail"),
    ],
)
def test_upper_limit(value, guarded, simple):
    assert decide(figure(value), None, 10.0, "guarded", True).outcome == guarded
    assert decide(figure(value), None, 10.0, "simple", True).outcome == simple


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (1.5, "fail"),
        (2.5, "conditional fail"),
        (3.5, "conditional pass"),
        (6.0, "pass"),
        (9.5, "conditional pass"),
        (10.5, "conditional fail"),
        (12.0, "fail"),
    ],
)
def test_interval(value, expected):
    assert decide(figure(value), 3.0, 10.0, "guarded", True).outcome == expected


def test_lower_limit():
    assert decide(figure(4.1), 3.0, None, "guarded", True).outcome == "pass"
    assert decide(figure(1.9), 3.0, None, "guarded", True).outcome == "fail"


@pytest.mark.parametrize("value", [0.0, 9.5, 100.0])
@pytest.mark.parametrize("rule", ["guarded", "simple"])
def test_never_judged_when_not_covered(value, rule):
    verdict = decide(figure(value), None, 10.0, rule, False, why_not="only 2 A")
    assert verdict.outcome == "not covered"
    assert verdict.probability is None
    assert verdict.ratio is None
    assert verdict.why == "only 2 A"


@given(
    st.floats(-20, 20),
    st.floats(1e-3, 5),
    st.one_of(st.just(math.inf), st.floats(1, 100)),
    st.floats(0.1, 10),
)
def test_probabilities_of_either_side_add_up(value, u, dof, width):
    one = figure(value, u, dof)
    below = probability_of_conformance(one, None, 0.0)
    above = probability_of_conformance(one, 0.0, None)
    assert below + above == pytest.approx(1.0)
    inside = probability_of_conformance(one, -width, width)
    assert 0 <= inside <= 1
    assert inside <= probability_of_conformance(one, None, width) + 1e-12


@given(st.floats(0, 20), st.floats(1e-3, 5))
def test_guarded_pass_means_a_probability_of_at_least_97_percent(value, u):
    verdict = decide(figure(value, u, k=2.0000024), None, 10.0, "guarded", True)
    if verdict.outcome == "pass":
        assert verdict.probability >= 0.977
    if verdict.outcome == "fail":
        assert verdict.probability <= 0.023


def test_ratio_below_four_is_remarked():
    assert decide(figure(1.0), None, 10.0, "guarded", True).ratio == 10
    assert not decide(figure(1.0), None, 10.0, "guarded", True).remarks
    weak = decide(figure(1.0), None, 3.0, "guarded", True)
    assert weak.ratio == 3
    assert any("3 times U" in remark for remark in weak.remarks)
    assert decide(figure(6.0), 3.0, 10.0, "guarded", True).ratio == 3.5


def part(name, contribution, dof=math.inf):
    return Component(name, "rectangular", contribution, 1.0, contribution, dof)


def test_undecided_says_what_would_help():
    budget = (part("noise", 0.1), part("shunt value", 0.49))
    verdict = decide(figure(9.5, budget=budget), None, 10.0, "guarded", True)
    assert verdict.outcome == "conditional pass"
    assert "shunt value (96%" in verdict.remarks[0]
    assert "calibrated" in verdict.remarks[0]
    few = decide(
        figure(9.5, dof=2.0, k=4.53, budget=(part("scatter", 0.5, 2.0),)),
        None,
        10.0,
        "guarded",
        True,
    )
    assert "repeat the points" in few.remarks[0]
    assert "k = 4.5" in few.remarks[0]


def test_undecidable_is_said():
    narrow = decide(figure(5.0), 4.5, 5.5, "guarded", True)
    assert narrow.outcome == "conditional pass"
    assert narrow.remarks[0].startswith("Undecidable with this bench")
    zero = decide(figure(0.0), None, 0.5, "guarded", True)
    assert zero.remarks[0].startswith("Undecidable with this bench")


def test_simple_acceptance_states_its_risk():
    assert any("as likely" in r for r in decide(figure(1), None, 10, "simple", True).remarks)


@pytest.mark.parametrize(
    ("one", "lower", "upper", "says"),
    [
        (figure(1.0), None, None, "no bound"),
        (figure(1.0), 2.0, 2.0, "without width"),
        (figure(1.0), 3.0, 2.0, "below the second"),
        (figure(1.0), None, math.inf, "finite"),
        (figure(1.0, u=0.0), None, 2.0, "above zero"),
        (figure(math.nan), None, 2.0, "finite value"),
    ],
)
def test_refusals(one, lower, upper, says):
    with pytest.raises(FigureError, match=says):
        decide(one, lower, upper, "guarded", True)


def verdict_of(kind):
    return Verdict("f", "t", None, 1.0, "V", "guarded", kind, None, None, "")


@pytest.mark.parametrize(
    ("kinds", "code"),
    [
        (["pass", "pass"], Exit.PASSED),
        (["pass", "fail", "not covered"], Exit.FAILED),
        (["pass", "not covered"], Exit.UNDECIDED),
        (["pass", "conditional pass"], Exit.UNDECIDED),
        (["conditional fail"], Exit.UNDECIDED),
        ([], Exit.UNDECIDED),
    ],
)
def test_outcome_of_a_run(kinds, code):
    text, found = outcome([verdict_of(kind) for kind in kinds])
    assert found == code
    assert text
