"""A promise in per cent of the setting, or for one setting, is judged at that setting."""

from dataclasses import dataclass

import numpy as np
import pytest
from test_trials_set_points import SETTINGS, evidence
from test_verdicts_coverage import Promise, Span, Stated

from sequencer.trials import set_points
from sequencer.trials.trial import VOLTAGE
from sequencer.uncertainty.combine import normal
from sequencer.uncertainty.figure import make_figure
from sequencer.verdicts.judge import judge

UPS_AND_DOWNS = (*range(SETTINGS.size), *range(SETTINGS.size)[::-1])


def set_by(errors):
    """Return the figures of a unit that is off by so much (V) at each of eleven settings."""
    at = evidence(np.random.default_rng(1), walk=1e-7, noise=20e-6)
    for step, number in zip(at.steps, UPS_AND_DOWNS, strict=True):
        step.reply.value[VOLTAGE] += errors[number]
    return set_points.figures(None, at)


def error_of(errors, *, percent, fixed, condition=None):
    promise = Promise("setting_error", fixed, condition, percent)
    (verdict,) = judge(set_by(errors), [promise], "guarded")
    return verdict


def test_an_error_at_a_low_setting_is_held_against_what_is_allowed_there():
    alike = np.full(SETTINGS.size, 60e-3)  # 0.5 % + 30 mV allow 180 mV at 30 V, 45 mV at 3 V
    verdict = error_of(alike, percent=0.005, fixed=30e-3)
    assert verdict.outcome == "fail"
    assert verdict.apart == "at 0 V"
    assert verdict.upper == pytest.approx(30e-3)
    assert verdict.judged is not None
    assert verdict.judged.value == pytest.approx(60e-3, rel=0.02)
    assert "of 11 settings the one nearest to its limit" in verdict.why


def test_all_settings_within_their_own_allowance_pass():
    growing = 0.004 * SETTINGS + 20e-3
    verdict = error_of(growing, percent=0.005, fixed=30e-3)
    assert verdict.outcome == "pass"
    assert verdict.apart == "at 0 V"  # 10 mV from its limit there, 40 mV at 30 V


def test_a_percentage_alone_is_not_held_against_zero():
    verdict = error_of(0.004 * SETTINGS, percent=0.005, fixed=0.0)
    assert (verdict.outcome, verdict.apart) == ("pass", "at 3 V")
    assert any("At 0 V a percentage allows nothing" in one for one in verdict.remarks)


def test_a_promise_for_one_setting_is_judged_there():
    errors = np.zeros(SETTINGS.size)
    errors[-1] = 0.1
    at_9 = error_of(errors, percent=0.0, fixed=10e-3, condition=Stated(9.0))
    assert (at_9.outcome, at_9.apart) == ("pass", "at 9 V")
    at_30 = error_of(errors, percent=0.0, fixed=10e-3, condition=Stated(30.0))
    assert (at_30.outcome, at_30.apart) == ("fail", "at 30 V")
    nowhere = error_of(errors, percent=0.0, fixed=10e-3, condition=Stated(10.0))
    assert nowhere.outcome == "not covered"
    whole = error_of(errors, percent=0.0, fixed=10e-3)
    assert (whole.outcome, whole.apart) == ("fail", "")


@dataclass(frozen=True)
class Share(Span):
    """Bounds in parts of the setting."""

    def lower(self, setting):
        return None if self.low is None else self.low * setting

    def upper(self, setting):
        return self.high * setting


@pytest.mark.parametrize(
    ("condition", "outcome"),
    [(None, "not covered"), (Stated(30.0), "not covered"), (Stated(30.0, None, 3.0), "fail")],
)
def test_a_percentage_of_a_current_limit_is_of_no_current_that_it_let_through(condition, outcome):
    reached = {"voltage": 30.0, "current_to": 5.2}
    figure = make_figure("t", "limit_current", 5.0, "A", [normal("noise", 0.01)], reached=reached)
    promise = Share("limit_current", None, 1.1, condition, unit="A")
    (verdict,) = judge([figure], [promise], "guarded")
    assert verdict.outcome == outcome
    assert outcome == "fail" or "neither stated" in verdict.why
