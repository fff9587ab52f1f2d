"""Decision rules: outcomes, probability, ratio and remarks."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.errors import Exit, FigureError
from sequencer.results import Figure, Verdict
from sequencer.uncertainty.combine import normal, rectangular, type_a
from sequencer.uncertainty.figure import make_figure
from sequencer.verdicts.decide import decide, probability_of_conformance
from sequencer.verdicts.outcome import outcome
from sequencer.verdicts.risk import risk_at_limit


def figure(value, u=0.5, dof=math.inf, k=2.0, budget=(), *, name="drift"):
    return Figure("t", name, value, "V", u, dof, k, k * u, budget=budget)


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
    one = figure(value, u, dof, name="thermal_tail")
    below = probability_of_conformance(one, None, 0.0)
    above = probability_of_conformance(one, 0.0, None)
    assert below + above == pytest.approx(1.0)
    inside = probability_of_conformance(one, -width, width)
    assert 0 <= inside <= 1
    assert inside <= probability_of_conformance(one, None, width) + 1e-12


@given(st.floats(0, 20), st.floats(1e-3, 5))
def test_guarded_pass_means_a_probability_of_at_least_97_percent(value, u):
    signed = figure(value, u, k=2.0000024, name="thermal_tail")
    verdict = decide(signed, None, 10.0, "guarded", True)
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


def measured(value, *parts):
    return make_figure("t", "drift", value, "V", parts)


def test_undecided_names_the_part_that_has_to_shrink():
    one = measured(9.6, normal("noise", 0.05), rectangular("shunt value", 0.8))
    verdict = decide(one, None, 10.0, "guarded", True)
    assert verdict.outcome == "conditional pass"
    assert "at most 400 mV" in verdict.remarks[0]
    assert "shunt value alone gives 760 mV" in verdict.remarks[0]
    assert "shunt calibrated" in verdict.remarks[0]


def test_undecided_by_scatter_says_how_many_more_readings():
    few = decide(measured(9.6, type_a("scatter", 0.3, 4.0)), None, 10.0, "guarded", True)
    assert "independent values now" in few.remarks[0]
    # So many do decide: U of the same scatter with as many readings is below the distance.
    times = float(few.remarks[0].partition("about ")[2].split()[0])
    assert 1.5 < times < 5
    then = measured(9.6, type_a("scatter", 0.3 / math.sqrt(1.1 * times), 5 * times - 1))
    assert decide(then, None, 10.0, "guarded", True).outcome == "pass"


def test_undecided_by_many_parts_names_them_all():
    parts = [
        rectangular(f"{name} (voltage.sense)", 0.5) for name in ("gain", "offset", "linearity")
    ]
    verdict = decide(measured(9.9, *parts), None, 10.0, "guarded", True)
    assert "No single part is enough: gain (voltage.sense), offset" in verdict.remarks[0]


def test_a_value_at_the_limit_is_beyond_every_meter():
    verdict = decide(measured(9.9999, normal("noise", 0.2)), None, 10.0, "guarded", True)
    assert "no better meter will tell" in verdict.remarks[0]


def test_conditional_fail_says_what_would_make_it_one():
    verdict = decide(measured(10.2, normal("noise", 0.15)), None, 10.0, "guarded", True)
    assert verdict.outcome == "conditional fail"
    assert "times as many readings" in verdict.remarks[0]


def test_risks_stand_beside_the_verdict():
    one = decide(measured(5.0, normal("noise", 0.5)), None, 10.0, "guarded", True)
    assert one.false_accept == pytest.approx(0.02275, abs=1e-5)
    assert one.false_reject == pytest.approx(0.02275, abs=1e-5)
    # An interval narrower than twice U: nothing can pass, so nothing passes wrongly.
    narrow = decide(measured(5.0, normal("noise", 0.5)), 4.5, 5.5, "guarded", True)
    assert narrow.false_accept == 0.0
    assert (
        decide(measured(5.0, normal("noise", 0.5)), 4.0, 5.0, "guarded", False).false_accept is None
    )


def test_risks_at_an_interval_are_as_often_as_drawn():
    rng = np.random.default_rng(5)
    width, u, draws = 2.5, 0.5, 20_000
    one = measured(0.0, normal("noise", u))
    risk = risk_at_limit(one, 0.0, width, "guarded")
    seen = width + u * rng.standard_normal(draws)  # true value at the upper bound
    passed = np.mean((seen >= one.expanded) & (seen <= width - one.expanded))
    failed = np.mean((seen > width + one.expanded) | (seen < -one.expanded))
    assert risk.false_accept == pytest.approx(passed, abs=4 * math.sqrt(0.0225 / draws))
    assert risk.false_reject == pytest.approx(failed, abs=4 * math.sqrt(0.0225 / draws))


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


def test_what_is_needed_outside_a_narrow_limit_decides() -> None:
    """The room of the limit alone would leave the value undecided."""
    one = measured(3.1, normal("noise", 1.0))
    verdict = decide(one, None, 1.9, "guarded", True)
    assert verdict.outcome == "conditional fail"
    assert "at most 1.2 V" in verdict.remarks[0]
    better = measured(3.1, normal("noise", 0.59))
    assert decide(better, None, 1.9, "guarded", True).outcome == "fail"


def test_a_limit_without_room_is_said_to_be_one() -> None:
    verdict = decide(measured(0.5, normal("noise", 1.0)), None, 0.0, "guarded", True)
    assert "no room for any uncertainty" in verdict.remarks[0]


def test_a_magnitude_that_no_value_could_pass_is_never_passed_wrongly() -> None:
    verdict = decide(measured(1.16, normal("noise", 5.78)), None, 3.0, "guarded", True)
    assert verdict.false_accept == 0.0
    # Its sign is lost: as likely as within both bounds. By the normal distribution, 0.389.
    assert verdict.probability == pytest.approx(0.389, abs=2e-3)
    signed = make_figure("t", "thermal_tail", -8.0, "V", [normal("noise", 2.0)])
    assert decide(signed, None, 3.0, "guarded", True).outcome == "pass"
    below = make_figure("t", "thermal_tail", 1.0, "V", [normal("noise", 2.0)])
    assert decide(below, None, 3.0, "guarded", True).false_accept == pytest.approx(0.0228, abs=1e-4)


def test_more_readings_are_not_proposed_against_what_the_unit_itself_does() -> None:
    one = measured(9.6, type_a("the unit's own wander", 0.3, 5.0))
    remark = decide(one, None, 10.0, "guarded", True).remarks[0]
    assert "warm the unit up longer" in remark
    assert "times as many readings" not in remark
