"""Bad input is refused in words, or widened and said; never turned into a silent number."""

import numpy as np
import pytest

from sequencer.errors import FigureError
from sequencer.numerics.allan import overlapping
from sequencer.numerics.ambient import temperature_coefficient
from sequencer.numerics.drift import departures, rate
from sequencer.numerics.effective import autocorrelation, correlation_time, effective_number
from sequencer.numerics.knee import hysteresis, trace_limit
from sequencer.numerics.line import fit_line, fit_line_both
from sequencer.numerics.line_known import line_with_covariance
from sequencer.numerics.maximum import greatest_departure, greatest_span
from sequencer.numerics.minutes import minute_means
from sequencer.numerics.pairs import bracketed_differences, drift_free_differences
from sequencer.numerics.settling import settled
from sequencer.numerics.warmup import warm_up_time

NAN = float("nan")
SOAK = np.arange(0, 1200.0)
NOISE = np.random.default_rng(1).standard_normal(SOAK.size) * 1e-5


def limit_of(i, v, **known):
    wanted = {"set_voltage": 30.0, "rated_current": 3.0, "departure": 8e-3, "load_voltage": 1.0}
    return trace_limit(i, v, **wanted, **known)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: fit_line([0, 1], [0, 1]), "at least 3"),
        *(
            (lambda known=known: limit_of(range(9), range(9), **known), "u_.* above zero")
            for known in ({"u_current": NAN}, {"u_current": 0.0}, {"u_voltage": -1e-5})
        ),
        (lambda: fit_line([0, 1, 2], [0, NAN, 2]), "no finite number"),
        (lambda: fit_line([0, 1, 2], [0, 9.9e999, 2]), "no finite number"),
        (lambda: fit_line([1, 1, 1], [0, 1, 2]), "at least two different"),
        (lambda: fit_line([0, 1, 2], [0, 1]), "one for each"),
        (lambda: fit_line([0, 1, 2], [0, 1, 2], 0.0), "above zero"),
        (lambda: fit_line([[0, 1, 2]], [0, 1, 2]), "one row"),
        (lambda: fit_line_both([0, 1, 2], [0, 1, 2], [1, 0, 1], 1.0), "above zero"),
        (lambda: line_with_covariance([0, 1], [0, 1], np.eye(3)), "shape"),
        (lambda: drift_free_differences([0, 1, 1], [0, 1, 0], [1, 2, 1], 0), "times that rise"),
        (lambda: drift_free_differences([0, 2, 1], [0, 1, 0], [1, 2, 1], 0), "times that rise"),
        (lambda: drift_free_differences([0, 1, 2], [0, 0, 0], [1, 2, 1], 0), "another|other level"),
        (lambda: drift_free_differences([0, 1, 2], [0, 1, 0], [1, 2, 1], 0), "at least one more"),
        (lambda: drift_free_differences([0, 1, 2], [0, 1, 0], [1, 2, 1], 5), "not visited"),
        (
            lambda: drift_free_differences([0, 1, 2, 3], [0, 1, 2, 3], [1, 2, 1, 1], 0),
            "at least one more",
        ),
        (
            lambda: drift_free_differences([0, 1, 2, 3], [0, 0, 1, 1], [1, 2, 1, 1], 0, degree=7),
            "0, 1, 2 or 3",
        ),
        (lambda: bracketed_differences([0, 1, 2], [0, 1, 1], [1, 2, 3], 0), "both ends"),
        (lambda: bracketed_differences([0, 1, 2], [0, 1, 0], [1, 2, 3], 0), "visited twice"),
        (lambda: effective_number([1.0]), "at least 4"),
        (lambda: effective_number([2.0] * 50), "all 50 are 2"),
        (lambda: overlapping([1.0, 2.0], 1.0), "at least 3"),
        (lambda: overlapping([1.0, 2.0, 3.0], 0.0), "above zero"),
        (lambda: overlapping([1.0, 2.0, 3.0, 5.0], 1.0, (3,)), "1 to 2"),
        (lambda: minute_means([0, 1, 2], [1.0, 1.1, 1.2]), "fewer than two periods"),
        (lambda: minute_means(SOAK, np.full(SOAK.size, 30.0)), "frozen"),
        (lambda: minute_means(SOAK, np.full(SOAK.size, NAN)), "fewer than two periods"),
        (lambda: minute_means(SOAK[::-1], NOISE), "times that rise"),
        (lambda: rate(minute_means(SOAK[:200], NOISE[:200])), "at least 6"),
        (
            lambda: temperature_coefficient(
                minute_means(SOAK, NOISE), minute_means(SOAK, 22 + 100 * NOISE)
            ),
            "no more than its thermometer",
        ),
        (
            lambda: temperature_coefficient(
                minute_means(SOAK, NOISE), minute_means(SOAK, 22 + SOAK / 600 + NOISE)
            ),
            "runs with time",
        ),
        (lambda: warm_up_time(SOAK, NOISE, 0.0), "above zero"),
        (lambda: warm_up_time(SOAK, NOISE, 1.0, final=float("nan")), "final value"),
        (lambda: fit_line(["a", "b", "c"], [1.0, 2.0, 3.0]), "no row of numbers"),
        (lambda: fit_line([1.0, 2.0, 3.0], [[1.0], [2.0, 3.0]]), "no row of numbers"),
        (lambda: fit_line([1.0, 2.0, 3.0], [1e-200, 2e-200, 4e-200]), "too little to compute"),
        (lambda: fit_line([1e-200, 2e-200, 4e-200], [1.0, 2.0, 3.0]), "at least two different"),
        (lambda: minute_means([0.0, 1.0, 1e15], [1.0, 2.0, 3.0]), "more than"),
        (lambda: overlapping([1.0, 2.0, 4.0], 1.0, ()), "found none"),
        (lambda: overlapping([1.0, 2.0, 4.0, 3.0], 1.0, (1.5,)), "a whole number"),
        (lambda: correlation_time([1.0, 2.0, 4.0, 3.0, 1.0], float("nan")), "unknowns"),
        (
            lambda: bracketed_differences(
                [0.0, 1.0, 2.0, 3.0, 4.0],
                [0.0, 1.0, 0.0, 1.0, 0.0],
                [1.0, 2.0, 1.1, 2.1, 1.2],
                0.0,
                noise=-1.0,
            ),
            "noise of one value",
        ),
        (
            lambda: line_with_covariance(
                [1.0, 2.0], [1.0, 3.0], np.full((2, 2), 5.0) - 4 * np.eye(2)
            ),
            "correlations",
        ),
        (
            lambda: line_with_covariance(
                [1.0, 2.0], [1.0, 3.0], np.array([[1.0, 0.5], [0.0, 1.0]])
            ),
            "symmetric",
        ),
        (
            lambda: line_with_covariance([1.0, 2.0], [1.0, 3.0], np.eye(2), -3.0),
            "degrees of freedom",
        ),
        *(
            (lambda half=half: warm_up_time(SOAK, NOISE, 1.0, half_widths=half), "half-widths")
            for half in ([1e-6, NAN], [-1e-6], [[1e-6]])
        ),
        (lambda: settled([0, 1, 2], [1, 2, NAN], 1.0, 2.0), "no finite number"),
        (lambda: fit_line([0, 1, 2, 3], [1, 2, 3, 4]), "on one line to the last digit"),
        (lambda: fit_line([0, 1, 2], [1, 2, 4], 1e-160), "too small to compute"),
        (lambda: fit_line_both([0, 1, 2], [1, 2, 4], 1e-160, 1e-160), "too small to compute"),
        (
            lambda: drift_free_differences(
                [0, 1, 2, 3], [0, 1, 0, 1], [1, 2, 1, 2], 0, u_values=1e-160
            ),
            "too small to compute",
        ),
        (lambda: autocorrelation([1, 2, 4, 3, 2], -1), "lags"),
        (
            lambda: hysteresis(
                [3, 3.1, 3.2], [9, 15, 20], [3.1, 3.2, 3.3], [9, 15, 20], set_voltage=30
            ),
            "the same to the last digit",
        ),
        (lambda: settled([0, 1, 2], [1, 2, 3], 0.0, 2.0), "above zero"),
        (lambda: greatest_departure([], 1.0), "at least 1"),
        (lambda: greatest_departure([1.0, 2.0], [1.0, -1.0]), "above zero"),
        (lambda: greatest_departure([1.0, 2.0], 1.0, model=[1.0]), "the model"),
        (lambda: greatest_departure([1.0, 2.0], 1.0, u_common=-1.0), "not below zero"),
        (lambda: greatest_departure([1.0, 2.0], 1.0, u_common=float("nan")), "not below zero"),
        (lambda: greatest_span([1.0], 1.0), "at least 2"),
        (lambda: limit_of([0, 1, 2], [30, 30, 30]), "at least 6"),
        (lambda: hysteresis([3, 3], [15, 14], [3, 3], [15, 14], set_voltage=30), "at least 3"),
    ],
)
def test_refusal_says_what_was_expected(call, says):
    with pytest.raises(FigureError, match=says):
        call()


def test_residuals_larger_than_stated_widen_and_say_so():
    rng, x = np.random.default_rng(2), np.linspace(0, 3, 20)
    y = x + 0.1 * rng.standard_normal(20)
    trusting, free = fit_line(x, y, 0.01), fit_line(x, y)
    assert trusting.widened > 5
    assert trusting.u_slope == pytest.approx(free.u_slope)
    assert trusting.dof == 18


def test_drift_of_identical_minutes_is_zero_with_no_lift():
    minutes = minute_means(SOAK, np.tile([1.0, 2.0], SOAK.size // 2))
    found = departures(minutes)
    assert found.span.observed == pytest.approx(0.0, abs=1e-12)
    assert found.span.value == 0.0
    assert found.span.u > 0


LEVEL = np.linspace(0, 2.4, 9)


def test_limit_without_a_corner_names_what_is_missing():
    rng = np.random.default_rng(3)
    trace = limit_of(LEVEL, 30 - 2e-3 * LEVEL + 5e-5 * rng.standard_normal(9))
    assert trace.knee_onset is None
    assert trace.limit_current is None
    assert "corner was not reached" in trace.cannot["knee_onset"]
    assert "far enough" in trace.cannot["limit_current"]


def test_partly_measured_corner_gives_onset_but_no_limit():
    rng = np.random.default_rng(4)
    i = np.concatenate([LEVEL, 3.1 + np.linspace(0, 0.12, 12)])
    fall = np.exp((i - 3.3 + 2e-3 * 30) / 0.02)
    v = 30 - 2e-3 * i - fall + 5e-5 * rng.standard_normal(i.size)
    trace = limit_of(i, v)
    assert trace.knee_onset is not None
    assert trace.limit_current is None
    assert trace.knee_current is None


def test_limit_that_was_not_pulled_to_the_short_says_extrapolated():
    rng = np.random.default_rng(5)
    fall = np.concatenate([np.geomspace(1e-3, 7, 14), 30 - np.linspace(22.5, 7.5, 9)])
    i = np.concatenate([LEVEL, 3.24 + 2e-3 * fall + 0.02 * np.log(fall)])
    v = np.concatenate([30 - 2e-3 * LEVEL, 30 - 2e-3 * i[9:] - fall])
    i = i + 2e-4 * rng.standard_normal(i.size)
    trace = limit_of(i, v + 5e-5 * rng.standard_normal(i.size))
    assert trace.short_current is not None
    assert any("extrapolated" in note for note in trace.notes)
    assert trace.lowest_voltage == pytest.approx(7.5, abs=0.1)


def test_limit_below_the_rating_is_refused_where_the_line_should_be():
    rng = np.random.default_rng(6)
    fall = np.concatenate([np.geomspace(1e-3, 7, 14), 30 - np.linspace(22.5, 1.0, 9)])
    level = np.linspace(0, 1.6, 7)
    i = np.concatenate([level, 2.0 + 0.02 * np.log(fall)])
    v = np.concatenate([30 - 2e-3 * level, 30 - 2e-3 * i[7:] - fall])
    trace = limit_of(i + 2e-4 * rng.standard_normal(i.size), v)
    assert trace.knee_onset is None
    assert "limit lies below 2.4 A" in trace.cannot["knee_onset"]
