"""The Allan deviation against the handbook's test sets and against allantools."""

import allantools
import numpy as np
import pytest

from sequencer.numerics.allan import overlapping
from sequencer.numerics.allan_confidence import equivalent_dof, noise_power

pytestmark = pytest.mark.external


def handbook_set() -> np.ndarray:
    """Return the 1000-point set of NIST SP 1065, 12.4 (a prime modulus congruential generator)."""
    state = 1234567890
    values = []
    for _ in range(1000):
        values.append(state / 2147483647)
        state = 16807 * state % 2147483647
    return np.array(values)


def test_thousand_point_set():
    # NIST SP 1065, table 31 (frequency data, tau = 1, 10, 100).
    data = handbook_set()
    assert data[0] == pytest.approx(0.5748904732, abs=5e-11)
    assert data[-1] == pytest.approx(0.7264947764, abs=5e-11)
    found = overlapping(data, 1.0, (1, 10, 100))
    published = [2.922319e-1, 9.159953e-2, 3.241343e-2]
    assert found.deviation == pytest.approx(published, rel=5e-7)


def test_nine_point_set():
    # NIST SP 1065, 12.3: ADEV(1) 91.22945 (at tau = 1 plain and overlapping are the same).
    data = [892.0, 809, 823, 798, 671, 644, 883, 903, 677]
    assert overlapping(data, 1.0, (1,)).deviation[0] == pytest.approx(91.22945, abs=5e-6)


@pytest.mark.parametrize("seed", [1, 2])
def test_random_walk_agrees_with_allantools(seed):
    rng = np.random.default_rng(seed)
    data = np.cumsum(rng.standard_normal(500)) + rng.standard_normal(500) + 1e3
    period = 60.0
    found = overlapping(data, period)
    taus, deviation, _, terms = allantools.oadev(
        data, rate=1 / period, data_type="freq", taus=found.tau_s
    )
    assert found.tau_s == pytest.approx(taus)
    assert found.deviation == pytest.approx(deviation, rel=1e-9)
    assert found.terms == pytest.approx(terms)


@pytest.mark.parametrize("power", [2, 1, 0, -1, -2])
@pytest.mark.parametrize("factor", [1, 2, 10, 50])
def test_equivalent_degrees_of_freedom_agree_with_allantools(power, factor):
    ours = equivalent_dof(power, 500, factor)
    # allantools' edf_simple is the same table of NIST SP 1065 (its flicker row at m = 1 lacks the
    # square in (N − 2)²; there edf_greenhall stands in). edf_greenhall is the later, exact way.
    exact = allantools.edf_greenhall(
        alpha=power, d=2, m=factor, N=501, overlapping=True, modified=False
    )
    assert ours == pytest.approx(exact, rel=0.35)
    if (power, factor) != (-1, 1):
        assert ours == pytest.approx(allantools.edf_simple(501, factor, power), rel=1e-9)


@pytest.mark.parametrize("power", [2, 0, -2])
def test_the_kind_of_noise_agrees_with_allantools_and_with_what_was_made(power):
    rng = np.random.default_rng(5)
    agreed = 0
    for _ in range(30):
        white = rng.standard_normal(257)
        made = {2: np.diff(white), 0: white, -2: np.cumsum(white)}[power]
        found = noise_power(made)
        theirs = allantools.autocorr_noise_id(made, af=1, data_type="freq")[0]
        agreed += found == theirs
        assert abs(found - power) <= 1
    assert agreed >= 25


def test_intervals_hold_the_true_deviation_as_often_as_stated():
    # White noise of standard deviation 1: ADEV(m) = 1/√m exactly (SP 1065, 5.2.2).
    rng = np.random.default_rng(6)
    held = np.zeros(5)
    for _ in range(400):
        found = overlapping(rng.standard_normal(100), 1.0, (1, 2, 4, 8, 16))
        true = 1 / np.sqrt(found.tau_s)
        held += (found.lower <= true) & (true <= found.upper)
    assert np.all(held / 400 > 0.92), held / 400
