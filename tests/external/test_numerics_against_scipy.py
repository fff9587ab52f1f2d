"""Lines, decay and correlated means against scipy, GTC and closed forms, on random data."""

import GTC
import numpy as np
import pytest
from scipy import optimize, stats
from scipy.signal import lfilter

from sequencer.numerics import effective_number, fit_decay, fit_line, fit_line_both

pytestmark = pytest.mark.external


@pytest.mark.parametrize("seed", range(8))
def test_a_line_with_both_uncertain_agrees_with_orthogonal_distance_regression(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(5, 40))
    true = np.sort(rng.uniform(0, 3, n))
    u_x, u_y = rng.uniform(0.01, 0.05, n), rng.uniform(0.005, 0.05, n)
    x = true + u_x * rng.standard_normal(n)
    y = 30 - 0.7 * true + u_y * rng.standard_normal(n)
    ours = fit_line_both(x, y, u_x, u_y)
    # The whole problem by a general solver: line and each point's true x are unknown together.

    def distances(unknown):
        at = unknown[2:]
        return np.concatenate([(x - at) / u_x, (y - unknown[0] - unknown[1] * at) / u_y])

    theirs = optimize.least_squares(
        distances, np.concatenate([[30.0, -0.7], x]), method="trf", xtol=1e-14, ftol=1e-14
    )
    assert ours.intercept == pytest.approx(theirs.x[0], rel=1e-7)
    assert ours.slope == pytest.approx(theirs.x[1], rel=1e-5)
    covariance = np.linalg.inv(theirs.jac.T @ theirs.jac)
    assert ours.u_slope / ours.widened == pytest.approx(np.sqrt(covariance[1, 1]), rel=0.05)
    assert ours.u_intercept / ours.widened == pytest.approx(np.sqrt(covariance[0, 0]), rel=0.05)


@pytest.mark.parametrize("seed", range(5))
def test_a_line_agrees_with_linregress_and_gtc(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    n = int(rng.integers(4, 60))
    x = rng.uniform(-5, 5, n)
    y = 2 - 0.3 * x + 0.2 * rng.standard_normal(n)
    ours, theirs = fit_line(x, y), stats.linregress(x, y)
    assert (ours.slope, ours.intercept) == pytest.approx((theirs.slope, theirs.intercept))
    assert ours.u_slope == pytest.approx(theirs.stderr)
    assert ours.u_intercept == pytest.approx(theirs.intercept_stderr)
    intercept, slope = GTC.ta.line_fit(list(x), list(y)).a_b
    assert (ours.u_intercept, ours.u_slope) == pytest.approx((intercept.u, slope.u))
    assert ours.correlation == pytest.approx(GTC.get_correlation(intercept, slope))
    assert ours.u_at(7.0) == pytest.approx((intercept + 7.0 * slope).u)


@pytest.mark.parametrize("seed", range(5))
def test_a_decay_agrees_with_curve_fit(seed: int) -> None:
    rng = np.random.default_rng(200 + seed)
    t = np.sort(rng.uniform(0, 10, 120))
    tau, swing, end = rng.uniform(0.5, 3), rng.uniform(-30, 30) + 5, rng.uniform(-1, 1)
    y = end + swing * np.exp(-t / tau) + 0.02 * rng.standard_normal(t.size)
    ours = fit_decay(t, y)

    def model(at, a, b, c):
        return a + b * np.exp(-(at - t[0]) / c)

    best, covariance = optimize.curve_fit(model, t, y, p0=(end, swing, tau))
    assert (ours.end, ours.swing, ours.time_constant_s) == pytest.approx(tuple(best), rel=1e-5)
    scale = ours.u_time_constant_s / np.sqrt(covariance[2, 2])
    assert 0.99 < scale < 2.0  # never below; above where the residuals happen to be correlated
    assert abs(ours.time_constant_s - tau) < 4 * ours.u_time_constant_s


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.9])
def test_effective_number_agrees_with_the_closed_form_of_a_first_order_process(rho: float) -> None:
    # Integrated autocorrelation time of a first-order process: (1 + ρ)/(1 − ρ); N. F. Zhang,
    # Metrologia 43 (2006) S276, eq. 7 for large n. Values made with scipy's filter.
    rng = np.random.default_rng(9)
    times = [
        effective_number(lfilter([1.0], [1.0, -rho], rng.standard_normal(4000))[200:])
        for _ in range(30)
    ]
    expected = (1 + rho) / (1 - rho)
    assert np.mean([one.correlation_time for one in times]) == pytest.approx(expected, rel=0.12)
    # And the means scatter by as much as is said.
    said = np.mean([one.u_mean for one in times])
    seen = np.std([one.mean for one in times], ddof=1)
    assert 0.7 < seen / said < 1.4
