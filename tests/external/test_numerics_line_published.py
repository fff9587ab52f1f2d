"""Straight lines against published results and against general-purpose libraries."""

import warnings
from importlib.resources import files

import GTC
import numpy as np
import pytest
from scipy import stats

from sequencer.numerics.line import fit_line, fit_line_both
from sequencer.numerics.line_known import line_with_covariance

pytestmark = pytest.mark.external


def test_norris_to_the_certified_digits():
    # NIST StRD, Norris: certified values; the data file ships inside scipy's wheel.
    text = (files("scipy") / "stats/tests/data/nist_linregress/Norris.dat").read_text()
    rows = [line.split() for line in text.splitlines()[60:] if line.split()]
    y, x = np.array(rows, dtype=float).T
    assert x.size == 36
    line = fit_line(x, y)
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.u_intercept == pytest.approx(0.232818234301152, rel=1e-10)
    assert line.u_slope == pytest.approx(0.429796848199937e-03, rel=1e-10)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-10)
    assert line.dof == 34


def test_thermometer_of_the_guide():
    # JCGM 100:2008 (GUM), H.3: data of table H.6, results of H.3.3 and H.3.4.
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    line = fit_line(np.array(t) - 20.0, b)
    assert round(line.intercept, 4) == -0.1712
    assert round(line.u_intercept, 4) == 0.0029
    assert round(line.slope, 5) == 0.00218
    assert round(line.u_slope, 5) == 0.00067
    assert round(line.correlation, 3) == -0.930
    assert round(line.at(10.0), 4) == -0.1494
    assert round(line.u_at(10.0), 4) == 0.0041
    assert line.dof == 9


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_lines_agree_with_gtc_and_scipy(seed):
    rng = np.random.default_rng(seed)
    x = rng.uniform(-3, 8, 14)
    y = 2.0 - 0.7 * x + 0.05 * rng.standard_normal(14)
    ours = fit_line(x, y)
    theirs = GTC.type_a.line_fit(x, y)
    intercept, slope = theirs.a_b
    assert ours.intercept == pytest.approx(GTC.value(intercept), rel=1e-10)
    assert ours.slope == pytest.approx(GTC.value(slope), rel=1e-10)
    assert ours.u_intercept == pytest.approx(GTC.uncertainty(intercept), rel=1e-10)
    assert ours.u_slope == pytest.approx(GTC.uncertainty(slope), rel=1e-10)
    assert ours.dof == GTC.dof(slope)
    assert ours.correlation == pytest.approx(GTC.get_correlation(intercept, slope), rel=1e-10)
    predicted = intercept + 5.0 * slope
    assert ours.u_at(5.0) == pytest.approx(GTC.uncertainty(predicted), rel=1e-10)
    scipys = stats.linregress(x, y)
    assert ours.u_slope == pytest.approx(scipys.stderr, rel=1e-10)


@pytest.mark.parametrize("seed", [4, 5])
def test_weighted_lines_agree_with_gtc(seed):
    rng = np.random.default_rng(seed)
    x = np.linspace(0, 3, 12)
    u = rng.uniform(0.01, 0.2, 12)
    # Residuals kept well below the stated u, so that nothing is widened.
    y = 1.0 + 0.3 * x + 0.3 * u * rng.standard_normal(12)
    ours = fit_line(x, y, u)
    intercept, slope = GTC.type_a.line_fit_wls(x, y, u).a_b
    assert ours.widened == 1.0
    assert ours.slope == pytest.approx(GTC.value(slope), rel=1e-10)
    assert ours.u_slope == pytest.approx(GTC.uncertainty(slope), rel=1e-9)
    assert ours.u_intercept == pytest.approx(GTC.uncertainty(intercept), rel=1e-9)
    assert ours.correlation == pytest.approx(GTC.get_correlation(intercept, slope), rel=1e-9)


# Pearson's data with York's weights, the customary check of fits with errors in both variables:
# D. York, Can. J. Phys. 44 (1966) 1079.
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
WEIGHT_X = np.array([1000.0, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1])
WEIGHT_Y = np.array([1.0, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])


def test_pearson_data_with_york_weights():
    line = fit_line_both(PEARSON_X, PEARSON_Y, WEIGHT_X**-0.5, WEIGHT_Y**-0.5)
    # York et al., Am. J. Phys. 72 (2004) 367, tables I and II (written down from memory; the next
    # test checks the same fit against scipy's orthogonal distance regression).
    assert line.intercept == pytest.approx(5.47991022, abs=5e-8)
    assert line.slope == pytest.approx(-0.480533407, abs=5e-9)
    assert line.u_intercept / line.widened == pytest.approx(0.295, abs=5e-4)
    assert line.u_slope / line.widened == pytest.approx(0.0580, abs=5e-5)


def test_line_with_both_errors_agrees_with_orthogonal_distance_regression():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # scipy announces the module's removal
        odr = pytest.importorskip("scipy.odr")
        model = odr.Model(lambda b, x: b[0] + b[1] * x)
        data = odr.RealData(PEARSON_X, PEARSON_Y, sx=WEIGHT_X**-0.5, sy=WEIGHT_Y**-0.5)
        found = odr.ODR(data, model, beta0=[5.0, -0.5], sstol=1e-15, partol=1e-15).run()
    line = fit_line_both(PEARSON_X, PEARSON_Y, WEIGHT_X**-0.5, WEIGHT_Y**-0.5)
    assert line.intercept == pytest.approx(found.beta[0], rel=1e-6)
    assert line.slope == pytest.approx(found.beta[1], rel=1e-6)
    # Two recipes for the uncertainty (adjusted points against the model's Jacobian) differ in
    # second order of the scatter, which is large in this data set.
    assert line.u_slope == pytest.approx(found.sd_beta[1], rel=0.03)


def test_slope_of_correlated_values_agrees_with_gtc():
    # The reference's own error is in every difference: GTC carries that correlation by itself.
    rng = np.random.default_rng(7)
    x = np.array([0.0, 1.0, 2.0, 3.0])
    reference = GTC.ureal(0.0, 3e-5)
    levels = [GTC.ureal(-1e-3 * one + 1e-5 * rng.standard_normal(), 2e-5) for one in x[1:]]
    differences = [GTC.ureal(0.0, 0.0), *(level - reference for level in levels)]
    covariance = np.full((4, 4), 9e-10)
    covariance[1:, 1:] += 4e-10 * np.eye(3)
    covariance[0] = covariance[:, 0] = 0.0
    line = line_with_covariance(x, [GTC.value(one) for one in differences], covariance)
    centred = x - x.mean()
    slope = sum(c * d for c, d in zip(centred, differences, strict=True)) / (centred @ centred)
    assert line.slope == pytest.approx(GTC.value(slope), rel=1e-10)
    assert line.u_slope == pytest.approx(GTC.uncertainty(slope), rel=1e-10)
