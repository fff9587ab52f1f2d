"""Stated intervals cover the truth about 95 times in 100: small seeded simulations.

Each compares the share of covering intervals (k for 95.45 %) with bounds three binomial standard
deviations about 95.45 %, unless a wider bound is argued beside it. Data are made here, apart from
the functions under test.
"""

import math

import numpy as np
import pytest
from scipy.signal import lfilter

from sequencer.errors import FigureError
from sequencer.numerics.ambient import temperature_coefficient
from sequencer.numerics.corner import Corner
from sequencer.numerics.decay import fit_decay, followed, sway
from sequencer.numerics.drift import departures, rate
from sequencer.numerics.effective import effective_number
from sequencer.numerics.knee import hysteresis, trace_limit
from sequencer.numerics.line import fit_line, fit_line_both
from sequencer.numerics.maximum import greatest_departure
from sequencer.numerics.minutes import MinuteMeans, minute_means
from sequencer.numerics.pairs import bracketed_differences, drift_free_differences
from sequencer.uncertainty.combine import coverage_factor

NOMINAL = 0.9545


def covered(results):
    """Return the share of (value, truth, u, dof) whose interval covers the truth."""
    hits = [
        abs(value - truth) <= coverage_factor(max(dof, 1.0)) * u for value, truth, u, dof in results
    ]
    return sum(hits) / len(hits)


def about_nominal(results, sides=3.0):
    share = covered(results)
    width = sides * math.sqrt(NOMINAL * (1 - NOMINAL) / len(results))
    assert NOMINAL - width <= share <= NOMINAL + width, share


def first_order(rng, n, phi):
    noise = rng.standard_normal(n + 500) * math.sqrt(1 - phi**2)
    return lfilter([1.0], [1.0, -phi], noise)[500:]


def minutes_of(values):
    n = values.size
    return MinuteMeans(
        time=np.arange(n) * 60.0 + 30,
        mean=values,
        count=np.full(n, 60.0),
        u=np.full(n, 1e-9),
        noise_dof=1e4,
        gaps=(),
        period_s=60.0,
        start_s=0.0,
        end_s=n * 60.0,
    )


def test_line():
    rng, x = np.random.default_rng(1), np.linspace(0, 3, 7)
    lines = [fit_line(x, 1 + 2 * x + rng.standard_normal(7)) for _ in range(600)]
    about_nominal([(one.at(3.0), 7.0, one.u_at(3.0), one.dof) for one in lines])


def test_line_with_both_uncertain():
    rng, x = np.random.default_rng(2), np.linspace(0, 3, 9)
    results = []
    for _ in range(500):
        line = fit_line_both(
            x + 0.02 * rng.standard_normal(9), 1 + 2 * x + 0.05 * rng.standard_normal(9), 0.02, 0.05
        )
        results.append((line.slope, 2.0, line.u_slope, line.dof))
    # Widening by large residuals acts one way only: a little more than nominal is right.
    assert 0.93 <= covered(results) <= 0.985


VISITS = (0, 1, 0, 2, 0, 3, 0, 3, 0, 2, 0, 1, 0)


@pytest.mark.parametrize("estimate", [drift_free_differences, bracketed_differences])
def test_level_differences_under_linear_drift(estimate):
    rng, t = np.random.default_rng(3), np.arange(13.0) * 30
    results = []
    for _ in range(400):
        y = -0.002 * np.array(VISITS) + 1e-6 * t + 1e-5 * rng.standard_normal(13)
        found = estimate(t, VISITS, y, 0)
        value, u = found.difference(3)
        results.append((value, -0.006, u, found.dof))
    about_nominal(results)


@pytest.mark.parametrize(("phi", "n"), [(0.0, 100), (0.5, 100), (0.9, 500)])
def test_mean_of_correlated_readings(phi, n):
    rng = np.random.default_rng(4)
    found = [effective_number(first_order(rng, n, phi)) for _ in range(400)]
    assert 0.92 <= covered([(one.mean, 0.0, one.u_mean, one.dof) for one in found]) <= 0.99


def test_mean_taken_as_independent_would_not_cover():
    rng = np.random.default_rng(4)
    rows = [first_order(rng, 500, 0.9) for _ in range(200)]
    naive = [(row.mean(), 0.0, row.std(ddof=1) / math.sqrt(500), 499) for row in rows]
    assert covered(naive) < 0.6


@pytest.mark.parametrize("phi", [0.0, 0.9, 0.97])
def test_drift_rate_with_correlated_residuals(phi):
    rng = np.random.default_rng(5)
    trend = 2e-5 * (np.arange(480) * 60.0)
    found = [rate(minutes_of(trend + first_order(rng, 480, phi))) for _ in range(300)]
    assert 0.92 <= covered([(one.rate, 2e-5, one.u, one.dof) for one in found]) <= 0.985


@pytest.mark.parametrize("phi", [0.0, 0.9])
def test_temperature_coefficient(phi):
    rng, t = np.random.default_rng(6), np.arange(480) * 60.0
    results = []
    for _ in range(200):
        room = 22 + 1.5 * np.sin(2 * np.pi * t / 18000) + 0.2 * first_order(rng, 480, 0.95)
        output = minutes_of(30 + 2e-4 * room + 1e-8 * t + 1e-4 * first_order(rng, 480, phi))
        found = temperature_coefficient(output, minutes_of(room))
        results.append((found.value, 2e-4, found.u, found.dof))
    assert 0.91 <= covered(results) <= 0.99


@pytest.mark.parametrize(
    "true",
    [np.linspace(0, 6, 7), np.linspace(0, 2, 7), np.array([5.0, 0.0, -5.0]), np.zeros(7)],
    ids=["ramp", "shallow ramp", "two alike", "flat"],
)
def test_greatest_departure(true):
    rng, results = np.random.default_rng(7), []
    for _ in range(250):
        found = greatest_departure(true + rng.standard_normal(true.size), 1.0)
        results.append(
            (found.value, np.abs(true).max(), math.hypot(found.u, found.u_bias), math.inf)
        )
    # A magnitude can't be below zero, so a flat curve lies at the edge: bounds are wider there.
    assert 0.90 <= covered(results) <= 0.99


def test_bias_of_a_greatest_departure_is_mostly_removed():
    rng, true = np.random.default_rng(8), np.linspace(0, 2, 7)
    found = [greatest_departure(true + rng.standard_normal(7), 1.0) for _ in range(400)]
    lifted = np.mean([one.observed for one in found]) - 2.0
    left = np.mean([one.value for one in found]) - 2.0
    assert lifted > 0.3  # the effect is there
    assert abs(left) < 0.15  # a tenth of U would be 0.2


@pytest.mark.parametrize(
    "true",
    [np.linspace(5, 6, 7), np.full(7, 5.0), np.linspace(-3, 3, 7), np.zeros(7), np.ones(7)],
    ids=["nearly flat", "flat, off zero", "both sides", "nothing", "flat, in the noise"],
)
def test_a_model_finds_the_lift_of_departures_that_lie_together(true):
    rng, results, seen, told = np.random.default_rng(9), [], [], []
    level = np.arange(7.0)
    for _ in range(400):
        noisy = true + rng.standard_normal(7)
        line = np.polynomial.Polynomial.fit(level, noisy, 1)(level)
        found = greatest_departure(noisy, 1.0, model=line, fitted=2)
        u = math.hypot(found.u, found.u_bias)
        results.append((found.value, np.abs(true).max(), u, math.inf))
        told.append(found.value)
        seen.append(greatest_departure(noisy, 1.0).value)
    bias, without = (np.mean(one) - np.abs(true).max() for one in (told, seen))
    # A tenth of U; where all lie on one height the line's own noise is among what lifts.
    assert abs(bias) < max(0.2, 0.8 * without)
    assert 0.92 <= covered(results) <= 0.99


def test_a_model_that_does_not_explain_the_departures_is_not_used():
    rng = np.random.default_rng(11)
    bent = np.array([0.0, 0.0, 0.0, 20.0, 0.0, 0.0, 0.0]) + rng.standard_normal(7)
    alone = greatest_departure(bent, 1.0)
    assert greatest_departure(bent, 1.0, model=np.full(7, bent.mean())) == alone


def test_what_departures_on_both_sides_are_taken_from_lifts_the_greatest_and_moves_it_less():
    """The first mean's noise moves a wave's greatest up whichever way it goes."""
    rng, true = np.random.default_rng(10), 10.0 * np.sin(np.linspace(0, 2 * np.pi, 60))
    truth = float(np.abs(true[1:] - true[0]).max())
    alone, together = [], []
    for _ in range(250):
        noisy = true + rng.standard_normal(60)
        for found, u in ((alone, 0.0), (together, 1.0)):
            found.append(greatest_departure(noisy[1:] - noisy[0], 1.0, in_order=True, u_common=u))
    before = np.mean([one.value for one in alone]) - truth
    left = np.mean([one.value for one in together]) - truth
    assert before > 0.85
    assert left < 0.85 * before
    assert np.mean([one.u_common for one in together]) < 0.9
    errors = [
        (one.value, truth, math.hypot(one.u_common, one.u, one.u_bias), math.inf)
        for one in together
    ]
    assert 0.90 <= covered(errors) <= 0.99


def test_what_departures_on_one_side_are_taken_from_moves_the_greatest_as_it_is():
    found = greatest_departure(np.linspace(0.0, 100.0, 60), 1.0, in_order=True, u_common=0.7)
    assert found.u_common == pytest.approx(0.7, rel=1e-3)


def test_drift_from_start_of_a_slow_swing():
    rng, t = np.random.default_rng(9), np.arange(0, 7200.0)
    true = 1e-3 * np.sin(t / 2500)
    means = true.reshape(-1, 60).mean(axis=1)
    truth, results = float(np.abs(means - means[0]).max()), []
    for _ in range(120):
        found = departures(minute_means(t, 30 + true + 2e-5 * rng.standard_normal(t.size)))
        part = found.from_start
        u = math.hypot(part.u_common, part.u, part.u_bias)
        results.append((part.value, truth, u, found.noise_dof))
    assert 0.90 <= covered(results) <= 0.995


# The figures' true values follow from the curve by brute force on a fine grid, not by the functions
# under test: V(I) by bisection of the implicit equation in V.
def brute_force(corner, set_voltage=30.0, rated=3.0, departure=8e-3, load_voltage=1.0):
    def current_at(volts):
        low, high = np.full_like(volts, -50.0), np.full_like(volts, 50.0)
        for _ in range(60):
            mid = (low + high) / 2
            bend = np.exp(np.minimum((mid - corner.a - corner.g * volts) / corner.i_w, 200.0))
            too_much = corner.v0 - corner.r * mid - bend < volts
            low, high = np.where(too_much, low, mid), np.where(too_much, mid, high)
        return (low + high) / 2

    near = corner.v0 - np.concatenate([np.linspace(0, 0.1, 400_001), np.geomspace(0.1, 1, 1000)])
    curve = current_at(near)
    even = np.linspace(0, 0.8 * rated, 201)
    order = np.argsort(curve)
    slope, start = np.polyfit(even, np.interp(even, curve[order], near[order]), 1)
    volts = np.linspace(0.25, 0.75, 201) * set_voltage
    g, a = np.polyfit(volts, current_at(volts), 1)
    knee = (a + g * start) / (1 - g * slope)
    onset = curve[start + slope * curve - near <= departure].max()
    return {
        "limit_current": a + g * set_voltage / 2,
        "knee_current": knee,
        "knee_onset": onset,
        "knee_sharpness": onset / knee,
        "short_current": a + g * load_voltage,
        "limit_change": a + g * load_voltage - knee,
    }


CORNERS = {
    "sharp": Corner(30.0, 2e-3, 3.3, -2e-3, 0.02),
    "soft": Corner(30.0, 2e-3, 3.5, -2e-3, 0.15),
    "folding back": Corner(30.0, 2e-3, 1.0, 0.08, 0.02),
}


def swept(corner, rng, u_i, u_v):
    """Return a sweep's points: level line, corner, limit, short, with noise in both variables."""
    level = np.linspace(0, 2.4, 9)
    s = np.concatenate(
        [
            np.linspace(math.log(1e-3), math.log(9.0), 14),
            np.log(30.0 - np.linspace(22.5, 7.5, 9)),
            np.log(30.0 - np.array([5.0, 1.0])),
        ]
    )
    bent_i, bent_v = corner.point(s)
    i = np.concatenate([level, bent_i])
    v = np.concatenate([corner.voltage_at(level), bent_v])
    return i + u_i * rng.standard_normal(i.size), v + u_v * rng.standard_normal(i.size)


@pytest.mark.parametrize("kind", CORNERS)
@pytest.mark.parametrize("stated", [True, False])
def test_limit_figures(kind, stated):
    rng, corner, u_i, u_v = np.random.default_rng(10), CORNERS[kind], 2e-4, 5e-5
    truth = brute_force(corner)
    results = {name: [] for name in truth}
    rounds = 40 if stated else 25
    for _ in range(rounds):
        i, v = swept(corner, rng, u_i, u_v)
        trace = trace_limit(
            i,
            v,
            set_voltage=30.0,
            rated_current=3.0,
            departure=8e-3,
            load_voltage=1.0,
            u_current=u_i if stated else None,
            u_voltage=u_v if stated else None,
        )
        for name, true in truth.items():
            found = getattr(trace, name)
            results[name].append((found.value, true, found.u, found.dof))
    for name, rows in results.items():
        share = covered(rows)
        assert share >= NOMINAL - 3.2 * math.sqrt(NOMINAL * (1 - NOMINAL) / rounds), (name, share)
        errors = np.array([value - true for value, true, _, _ in rows])
        typical = np.mean([u for _, _, u, _ in rows])
        # Not by being far too wide: the stated u is the scatter that is really there.
        assert 0.6 < typical / errors.std() < 1.7, (name, typical / errors.std())
        assert abs(errors.mean()) < 3.5 * typical / math.sqrt(rounds), name


def test_hysteresis():
    rng, results, v = np.random.default_rng(12), [], np.linspace(22.5, 7.5, 9)
    for _ in range(300):
        down = 3.3 - 2e-3 * v + 2e-4 * rng.standard_normal(9)
        back = 3.31 - 2e-3 * v + 2e-4 * rng.standard_normal(9)
        found = hysteresis(down, v, back, v, set_voltage=30.0)
        results.append((found.value, 0.01, found.u, found.dof))
    about_nominal(results)


def test_hysteresis_from_rounded_readings_that_lie_on_one_line_by_chance():
    """Differences of -65, -50 and -35 µA in steps of 5 µA: no scatter, but no certainty either."""
    v, times = np.array([22.5, 15.0, 7.5]), np.array([0.0, 7.0, 14.0])
    down = np.full(3, 3.35)
    back = down + np.array([-35e-6, -50e-6, -65e-6])
    given = {"set_voltage": 30.0, "down_times": times, "back_times": 40.0 - times}
    with pytest.raises(FigureError, match="State the least scatter"):
        hysteresis(down, v, back, v, **given)
    found = hysteresis(down, v, back, v, least_scatter=10e-6 / np.sqrt(6.0), **given)
    # By hand: differences at 40, 26 and 12 s, their line at 0 s: 4.08 µA·√(1/3 + 26²/392).
    assert found.u == pytest.approx(5.856e-6, rel=1e-3)
    assert found.dof == 1


def test_what_power_that_wanders_makes_of_a_warming_is_what_fits_to_such_warmings_show():
    rng, tau, every = np.random.default_rng(21), 700.0, 900.0
    t = np.arange(0.0, 3601.0, 20.0)
    used, later = t >= 20.0, t >= 900.0
    share, found = 0.01, []
    for _ in range(250):
        nodes = 1.0 + share * rng.standard_normal(6)
        power = np.interp(t / every + rng.uniform(), np.arange(6.0), nodes)
        warmed = followed(t, power, tau) - power[0] * np.exp(-t / tau)
        warmed += 1e-5 * rng.standard_normal(t.size)
        whole, late = (fit_decay(t[part], warmed[part]) for part in (used, later))
        times = whole.time_constant_s, late.time_constant_s
        found.append((whole.end - 1.0, times[0] / tau - 1.0, (times[1] - times[0]) / tau))
    told = sway(t, tau, used=used, later=later, every_s=every)
    end, time_constant, difference = np.std(found, axis=0) / share
    # A standard deviation of 250 is known to 4.5 %; a fit to the end alone bends with its swing.
    assert told.end == pytest.approx(end, rel=0.15)
    assert told.time_constant == pytest.approx(time_constant, rel=0.15)
    assert told.later == pytest.approx(difference, rel=0.3)
