"""The Allan deviation against the handbook's test sets and against allantools."""

import allantools
import numpy as np
import pytest

from sequencer.numerics.allan import overlapping

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
