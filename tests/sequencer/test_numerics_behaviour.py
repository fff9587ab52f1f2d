"""What the numerics do with data whose answer is known by construction."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sequencer.numerics.ambient import temperature_coefficient
from sequencer.numerics.corner import Corner, distances
from sequencer.numerics.effective import autocorrelation, effective_number
from sequencer.numerics.knee import trace_limit
from sequencer.numerics.line import fit_line
from sequencer.numerics.maximum import greatest_departure
from sequencer.numerics.minutes import MinuteMeans, minute_means
from sequencer.numerics.pairs import bracketed_differences, drift_free_differences
from sequencer.numerics.settling import settled
from sequencer.numerics.warmup import warm_up_time

finite = st.floats(-1e3, 1e3, allow_nan=False)


@given(st.lists(finite, min_size=4, max_size=12, unique=True), finite, finite)
@settings(max_examples=60, deadline=None)
def test_exact_line_is_found(x, slope, intercept):
    xs = np.round(np.array(x), 3)
    if np.ptp(xs) < 1e-2:
        return
    ys = intercept + slope * xs
    # A constant row is refused, as its scatter is unknown; and what has no square.
    assume(np.ptp(ys) > max(1e-12 * np.abs(ys).max(), 1e-140))
    line = fit_line(xs, ys, 1e-3)
    scale = max(1.0, abs(slope), abs(intercept))
    assert line.slope == pytest.approx(slope, abs=1e-6 * scale)
    assert line.at(float(xs[0])) == pytest.approx(intercept + slope * xs[0], abs=1e-6 * scale)


@given(st.floats(-1e-4, 1e-4), st.floats(-1, 1), st.floats(10, 1000))
@settings(max_examples=40, deadline=None)
def test_linear_drift_cancels_whatever_its_rate(rate, effect, period):
    order = [0, 1, 0, 2, 0, 2, 0, 1, 0]
    t = np.cumsum(np.full(9, period))
    y = 30 + rate * t + effect * np.array(order)
    assume(np.ptp(y) > 1e-12)
    for estimate in (drift_free_differences, bracketed_differences):
        found = estimate(t, order, y, 0)
        assert found.differences == pytest.approx([0, effect, 2 * effect], abs=1e-9)
        assert found.drift_rate == pytest.approx(rate, abs=1e-10)
        assert found.drift_over_visit == pytest.approx(rate * 8 * period, abs=1e-9)


def test_quadratic_drift_shows_as_residual_and_goes_with_a_higher_degree():
    order = [0, 1, 0, 2, 0, 2, 0, 1, 0]
    t = np.arange(9.0)
    y = 1e-3 * t**2 + np.array(order)
    linear = drift_free_differences(t, order, y, 0)
    bent = drift_free_differences(t, order, y, 0, degree=2)
    assert linear.residual_drift > 1e-3
    assert bent.residual_drift < 1e-9
    assert bent.differences == pytest.approx([0, 1, 2], abs=1e-9)


def test_single_bracket_is_the_weighing_scheme():
    # A B A: the classical B - (A1 + A2)/2, with the stated uncertainty times sqrt(3/2).
    found = drift_free_differences([0, 10, 20], [0, 1, 0], [1.0, 5.0, 2.0], 0, u_values=0.1)
    value, u = found.difference(1)
    assert value == pytest.approx(3.5)
    assert u == pytest.approx(0.1 * math.sqrt(1.5))


def test_gaps_and_missing_readings_are_found_and_said():
    rng = np.random.default_rng(1)
    t = np.concatenate([np.arange(0, 600.0), np.arange(900, 1800.0)])
    y = 30 + 1e-5 * rng.standard_normal(t.size)
    y[[5, 700]] = float("nan")
    minutes = minute_means(t, y)
    assert minutes.gaps == ((599.0, 900.0),)
    assert minutes.covered_s == pytest.approx(1800 - 301)
    assert any("2 of 1500" in note for note in minutes.notes)
    assert any("1 gaps, 301 s" in note for note in minutes.notes)
    assert minutes.mean.size == 25
    assert minutes.u == pytest.approx(1e-5 / math.sqrt(60), rel=0.1)


def test_drift_does_not_pass_for_noise():
    rng = np.random.default_rng(2)
    t = np.arange(0, 3600.0)
    minutes = minute_means(t, 30 + 1e-6 * t + 1e-5 * rng.standard_normal(t.size))
    assert minutes.u == pytest.approx(1e-5 / math.sqrt(60), rel=0.1)


def test_lag_of_the_room_is_found():
    t = np.arange(480) * 60.0
    room = 22 + 2 * np.sin(2 * np.pi * t / 14400)
    followed, lag = [room[0]], 1200.0
    for i in range(1, t.size):
        share = 1 - math.exp(-60 / lag)
        followed.append(followed[-1] + share * ((room[i] + room[i - 1]) / 2 - followed[-1]))
    rng = np.random.default_rng(3)
    output = 30 + 3e-4 * np.array(followed) + 1e-6 * rng.standard_normal(t.size)
    with_lag = temperature_coefficient(
        minute_means(t, output), minute_means(t, room + 1e-3 * rng.standard_normal(480)), None
    )
    assert with_lag.lag_s == lag
    assert with_lag.value == pytest.approx(3e-4, rel=0.02)
    assert np.ptp(with_lag.corrected.mean) < 0.1 * np.ptp(output)


def test_what_the_lag_leaves_open_is_no_wider_than_the_lags_that_are_likely():
    # Room and output of an hour: nearly any lag will do, and the coefficient grows with it.
    rng = np.random.default_rng(6)
    at = np.arange(60) * 60.0 + 30
    room = 22 + 0.4 * np.sin(2 * np.pi * at / 2400)

    def means(values):
        return MinuteMeans(
            time=at,
            mean=values,
            count=np.full(60, 60.0),
            u=np.full(60, 1e-7),
            noise_dof=2000.0,
            gaps=(),
            period_s=60.0,
            start_s=0.0,
            end_s=3600.0,
        )

    output = means(30 + 2e-4 * (room - 22) + 1e-4 * rng.standard_normal(60))
    found = temperature_coefficient(output, means(room), lag_s=None)
    likely = [one.value for one in found.likely]
    farthest = max(abs(one - found.value) for one in likely)
    assert len(likely) > 2
    # JCGM 100, 4.3.8: the full width is b₊ + b₋, however unevenly the estimate lies within.
    above, below = max(likely) - found.value, found.value - min(likely)
    assert found.half_width_lag == pytest.approx((above + below) / 2)
    assert found.half_width_lag < 0.8 * farthest


def test_warm_up_time_of_an_exponential():
    rng, t = np.random.default_rng(4), np.arange(0, 3600, 5.0)
    y = 30 + 2e-2 * np.exp(-t / 600) + 5e-5 * rng.standard_normal(t.size)
    found = warm_up_time(t, y, 2e-3, final=30.0)
    assert found.reached
    assert abs(found.time_s - 600 * math.log(10)) < 4 * found.u
    assert found.u < 15


def test_warm_up_that_does_not_end_says_so():
    t = np.arange(0, 1200.0)
    found = warm_up_time(t, 30 + 1e-4 * t, 1e-3, final=30.0)
    assert not found.reached
    assert math.isnan(found.time_s)


@pytest.mark.parametrize(
    ("values", "steady"),
    [
        (lambda t: 1e-3 * np.sin(40 * t), True),
        (lambda t: 5e-3 * t, False),
        (lambda t: 2e-2 * np.where(np.arange(t.size) % 2, 1.0, -1.0), False),
    ],
    ids=["steady", "slope", "scatter"],
)
def test_settling(values, steady):
    t = np.arange(0, 10.0, 0.5)
    test = settled(t, values(t), 1e-2, 5.0)
    assert test.settled is steady
    assert test.points == 11


def test_settling_with_too_few_readings_is_not_settled():
    assert not settled([0.0, 1.0], [1.0, 1.0], 1.0, 5.0).settled
    short = settled([0.0, 0.1, 0.2, 0.3], [1.0, 1.0, 1.0, 1.0], 1.0, 5.0)
    assert not short.settled
    assert "span" in short.why


def test_autocorrelation_against_the_plain_sum():
    x = np.random.default_rng(5).standard_normal(40)
    c = x - x.mean()
    plain = [float(c[: 40 - k] @ c[k:]) / float(c @ c) for k in range(6)]
    assert autocorrelation(x, 5) == pytest.approx(plain)


def test_repeated_readings_count_once():
    x = np.repeat(np.random.default_rng(6).standard_normal(100), 5)
    assert 60 < effective_number(x).effective < 150


@given(st.lists(st.floats(-5, 5), min_size=1, max_size=20), st.floats(0.01, 3))
@settings(max_examples=40, deadline=None)
def test_greatest_departure_never_exceeds_what_was_seen(values, u):
    found = greatest_departure(values, u)
    assert 0 <= found.value <= found.observed
    assert found.u >= u * 0.99
    assert found.bias >= 0


def test_lone_peak_is_not_corrected():
    found = greatest_departure([0.0, 0.1, 20.0, 0.2], 1.0)
    assert found.value == pytest.approx(20.0, abs=1e-3)
    assert found.u == pytest.approx(1.0, rel=1e-2)


def test_distances_derivatives_match_differences():
    corner = Corner(30.0, 2e-3, 3.3, -2e-3, 0.05)
    i, v = corner.point(np.linspace(-40, 3, 12))
    rng = np.random.default_rng(7)
    i, v = i + 2e-4 * rng.standard_normal(12), v + 5e-5 * rng.standard_normal(12)
    found = distances(corner, i, v, 2e-4, 5e-5)
    for column, (field, step) in enumerate(
        [("v0", 1e-6), ("r", 1e-6), ("a", 1e-6), ("g", 1e-8), ("i_w", 1e-7)]
    ):
        parts = {f: getattr(corner, f) for f in ("v0", "r", "a", "g", "i_w")}
        up, down = dict(parts), dict(parts)
        up[field] += step
        down[field] -= step
        high = distances(Corner(**up), i, v, 2e-4, 5e-5).value
        low = distances(Corner(**down), i, v, 2e-4, 5e-5).value
        slope = (high - low) / (2 * step) * (corner.i_w if field == "i_w" else 1.0)
        # Where a column all but vanishes, the difference quotient holds only rounding.
        rounding = 1e-6 * float(np.abs(slope).max())
        assert found.jacobian[:, column] == pytest.approx(slope, rel=2e-3, abs=rounding)


def test_points_on_the_curve_have_no_distance():
    for corner in (Corner(30.0, 2e-3, 3.3, -2e-3, 0.02), Corner(30.0, 2e-3, 1.0, 0.08, 0.02)):
        i, v = corner.point(np.linspace(-100, 3.3, 60))
        assert np.abs(distances(corner, i, v, 2e-4, 5e-5).value).max() < 1e-4


def test_random_corners_are_all_fitted():
    # Also ones whose current noise times output resistance rivals the voltage noise.
    rng = np.random.default_rng(77)
    for _ in range(25):
        i_w = math.exp(rng.uniform(math.log(0.003), math.log(0.2)))
        g = rng.uniform(0.02, 0.08) if rng.random() < 0.25 else rng.uniform(-5e-3, 5e-3)
        limit = rng.uniform(3.1, 3.6)
        corner = Corner(30.0, rng.uniform(2e-4, 5e-3), limit + 5 * i_w - 30 * g, g, i_w)
        u_i, u_v = 10 ** rng.uniform(-4.3, -2.7), 10 ** rng.uniform(-5, -3.5)
        level, low = np.array([0, 0.75, 1.5, 2.25, 2.4]), np.append(np.linspace(22.5, 7.5, 7), 1.0)
        bent_i, bent_v = corner.point(np.log(np.geomspace(1e-3, 7, 12)))
        i = np.tile(np.concatenate([level, bent_i, corner.current_at(low)]), 2)
        v = np.tile(np.concatenate([corner.voltage_at(level), bent_v, low]), 2)
        trace = trace_limit(
            i + u_i * rng.standard_normal(i.size),
            v + u_v * rng.standard_normal(i.size),
            set_voltage=30.0,
            rated_current=3.0,
            departure=8e-3,
            load_voltage=1.0,
        )
        assert not trace.cannot
        assert trace.limit_current is not None
        even = np.linspace(7.5, 22.5, 201)
        true = np.polynomial.Polynomial.fit(even, corner.current_at(even), 1)(15.0)
        assert abs(trace.limit_current.value - true) < 5 * trace.limit_current.u


def test_figures_move_with_a_sinking_output_as_said():
    corner = Corner(30.0, 1e-3, 3.3, -2e-3, 0.02)
    level = np.linspace(0, 2.4, 9)
    bent_i, bent_v = corner.point(np.log(np.geomspace(1e-3, 29, 30)))
    i = np.concatenate([level, bent_i])

    def traced(sinking):
        v = np.concatenate([corner.voltage_at(level), bent_v - sinking])
        rng = np.random.default_rng(1)
        return trace_limit(
            i + 1e-5 * rng.standard_normal(i.size),
            v + 1e-5 * rng.standard_normal(i.size),
            set_voltage=30.0,
            rated_current=3.0,
            departure=8e-3,
            load_voltage=1.0,
            u_current=1e-5,
            u_voltage=1e-5,
        )

    still, sunk = traced(0.0), traced(2e-6)
    for name in ("knee_onset", "knee_sharpness", "knee_voltage"):
        before, after = getattr(still, name), getattr(sunk, name)
        assert after.value - before.value == pytest.approx(before.per_sinking * 2e-6, rel=0.1)


def test_a_warm_up_that_grazes_its_band_again_is_as_uncertain_as_the_time_between():
    """A bump minutes after the crossing, inside the edge by less than noise, may be outside."""
    t = np.arange(3600.0)
    noise = 200e-6 * np.random.default_rng(5).standard_normal(t.size)
    way = 2e-3 * np.exp(-t / 300)
    bump = 1.1e-3 * np.exp(-(((t - 600) / 100) ** 2))
    least = float(minute_means(t, way + bump).mean[8:12].max())
    found = warm_up_time(t, 30 + way + bump + noise, least + 30e-6, final=30.0)
    alone = warm_up_time(t, 30 + way + noise, least + 30e-6, final=30.0)
    assert found.time_s == pytest.approx(alone.time_s, abs=30.0)
    # The bump's minute begins 570 s after the start; an edge of one standard uncertainty hides it.
    assert found.time_s + 2 * found.u > 550
    assert alone.u < 30
    assert found.per_unit * found.noise == pytest.approx(found.u)


def test_what_a_meter_moves_by_counts_in_the_time_to_come_into_the_band():
    t = np.arange(3600.0)
    noise = 1e-6 * np.random.default_rng(6).standard_normal(t.size)
    volts = 30 + 5e-3 * np.exp(-t / 900) + noise
    found = warm_up_time(t, volts, 1e-3, final=30.0, half_widths=[50e-6 * math.sqrt(3.0)])
    # The rate at the crossing is the band over the time constant. 95.45 % of a rectangle are within
    # 1.65 of its standard uncertainties; so far away the rate is less.
    assert 2 * found.u == pytest.approx(0.9545 * 50e-6 * math.sqrt(3.0) * 900 / 1e-3, rel=0.1)


def test_a_time_that_a_rectangle_may_take_to_nothing_has_it_within_two_u():
    t = np.arange(600.0)
    volts = 30 + np.where(t < 120, 1.02e-3, 0.0) + 1e-9 * np.sin(t)
    # The two means at the edge are outside by a fiftieth of the band: half of all draws have none.
    found = warm_up_time(t, volts, 1e-3, final=30.0, half_widths=[100e-6])
    assert found.time_s > 60
    assert found.time_s <= 2 * found.u * (1 + 1e-9)
    assert warm_up_time(t, volts, 1e-3, final=30.0).u < 1.0
