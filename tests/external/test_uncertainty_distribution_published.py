"""The distribution of a budget against published coverage factors and plain Monte Carlo.

Numbers of JCGM 101 and EA-4/02 are written down from memory of the documents; each is also held
to its closed formula, except where the text says so.
"""

import math
import time

import numpy as np
import pytest
from scipy import stats

from sequencer.uncertainty.combine import (
    COVERAGE_PROBABILITY,
    combine,
    coverage_factor,
    normal,
    rectangular,
    triangular,
    type_a,
)
from sequencer.uncertainty.distribution import distribution_of

pytestmark = pytest.mark.external


def rectangles(*half_widths):
    return [rectangular(str(n), half) for n, half in enumerate(half_widths)]


@pytest.mark.parametrize(
    ("dof", "k"),
    [(1, 13.97), (2, 4.53), (5, 2.65), (10, 2.28), (20, 2.13), (50, 2.05)],
)
def test_student_alone_keeps_the_guides_factor(dof, k):
    # JCGM 100:2008, table G.2, column 95.45 %.
    assert round(combine([type_a("a", 0.3, dof)]).k, 2) == k


def test_normal_alone_has_two():
    # JCGM 100:2008, table G.2, last line.
    assert combine([normal("a", 3.0), normal("b", 4.0)]).k == pytest.approx(2.0, abs=1e-5)


def test_one_rectangle():
    # EA-4/02 M:2022, S9 (hand-held multimeter, resolution dominates): k = 0.95·√3 = 1.65 for 95 %;
    # so 0.9545·√3 here.
    one = distribution_of(rectangles(2.0))
    assert round(one.half_interval(0.95) / one.u, 2) == 1.65
    assert combine(rectangles(2.0)).k == pytest.approx(COVERAGE_PROBABILITY * math.sqrt(3))


@pytest.mark.parametrize("ratio", [0.1, 0.5, 1.0])
def test_two_rectangles_are_a_trapezoid(ratio):
    # EA-4/02 M:2022, S10.13: k = (1 − √((1 − p)(1 − β²)))/√((1 + β²)/6), and k = 1.83 for
    # β = 0.33 there (half-widths 25 µm and 50 µm), p = 95 %.
    found = distribution_of(rectangles(50.0, 50.0 * ratio))
    beta = (1 - ratio) / (1 + ratio)
    k = (1 - math.sqrt((1 - 0.95) * (1 - beta**2))) / math.sqrt((1 + beta**2) / 6)
    assert found.half_interval(0.95) / found.u == pytest.approx(k, rel=1e-4)
    if ratio == 0.5:
        assert round(found.half_interval(0.95) / found.u, 2) == 1.83


def test_four_equal_rectangles():
    # JCGM 101:2008, 9.2.3: exact 95 % interval ± 2√3·(2 − (3/5)^(1/4)) ≈ ± 3.88.
    found = distribution_of(rectangles(*[math.sqrt(3)] * 4)).half_interval(0.95)
    assert found == pytest.approx(2 * math.sqrt(3) * (2 - 0.6**0.25), rel=2e-4)
    assert round(found, 2) == 3.88


def test_one_rectangle_ten_times_wider():
    # JCGM 101:2008, 9.2.4: u = 10.1, interval ± 17.0, where k = 1.96 would say ± 19.9.
    found = distribution_of(rectangles(*[math.sqrt(3)] * 3, 10 * math.sqrt(3)))
    assert round(found.u, 1) == 10.1
    assert round(found.half_interval(0.95), 1) == 17.0


def test_triangle():
    # The 95.45 % interval of scipy's symmetric triangle.
    k = combine([triangular("a", 2.0)]).k
    share = stats.triang(0.5, -2.0, 4.0)
    assert k * 2 / math.sqrt(6) == pytest.approx(-share.ppf(0.02275), rel=1e-4)


MIXTURES = [
    [type_a("a", 1.0, 5), *rectangles(3.0)],
    [type_a("a", 1.0, 1), *rectangles(3.0)],
    [type_a("a", 1.0, 3.3), *rectangles(3.0, 2.0)],
    [normal("a", 1.0), *rectangles(3.0, 2.0, 1.0)],
    [normal("a", 1e-3), *rectangles(3.0, 0.1)],
    rectangles(*np.linspace(1.0, 2.0, 10)),
]


@pytest.mark.parametrize("parts", MIXTURES)
def test_against_monte_carlo(parts):
    # JCGM 101:2008, clause 7, with numpy's and scipy's generators.
    rng = np.random.default_rng(7)
    draws = 400_000
    total = np.zeros(draws)
    for part in parts:
        if part.distribution == "rectangular":
            total += rng.uniform(-1, 1, draws) * part.contribution * math.sqrt(3)
        elif math.isfinite(part.dof):
            total += rng.standard_t(part.dof, draws) * part.contribution
        else:
            total += rng.standard_normal(draws) * part.contribution
    found = distribution_of(parts)
    covered = np.mean(np.abs(total) <= found.half_interval(COVERAGE_PROBABILITY))
    assert covered == pytest.approx(COVERAGE_PROBABILITY, abs=4 * math.sqrt(0.0434 / draws))
    for x in (-2.0, -0.5, 0.7, 1.5):
        assert found.below(x) == pytest.approx(np.mean(total < x), abs=4 * 0.5 / math.sqrt(draws))


@pytest.mark.parametrize("dof", [1.0, 3.3, 12.0, math.inf])
def test_cumulative_against_scipys_distributions(dof):
    # One normal or t and one rectangle: scipy's share averaged over the rectangle (numpy's nodes).
    part = normal("a", 0.7) if math.isinf(dof) else type_a("a", 0.7, dof)
    found = distribution_of([part, *rectangles(2.5)])
    scaled = stats.norm() if math.isinf(dof) else stats.t(dof)
    nodes, weights = np.polynomial.legendre.leggauss(200)
    for x in (-9.0, -4.0, -1.0, 0.3, 2.6):
        average = weights @ scaled.cdf((x - 2.5 * nodes) / 0.7) / 2
        assert found.below(x) == pytest.approx(average, rel=1e-6, abs=1e-9)


def test_intervals_cover_readings_that_are_drawn():
    # Frequentist: scatter estimated from four readings, a meter's gain drawn within its statement.
    rng = np.random.default_rng(3)
    trials, covered, halves = 1000, 0, (2.0, 1.0)
    for _ in range(trials):
        values = rng.standard_normal(4) + sum(rng.uniform(-half, half) for half in halves)
        parts = [type_a("scatter", values.std(ddof=1) / 2, 3), *rectangles(*halves)]
        covered += abs(values.mean()) <= combine(parts).expanded
    assert 0.935 <= covered / trials <= 0.98


def test_factor_of_a_whole_budget_is_quick():
    # A figure has a dozen components; hundreds of figures are computed in a campaign.
    parts = [type_a("a", 1.0, 5.5), *rectangles(*np.linspace(0.3, 3.0, 12))]
    plain = min(_seconds(lambda: coverage_factor(5.5)) for _ in range(5))
    whole = min(_seconds(lambda: combine(parts)) for _ in range(5))
    assert whole < 0.02, f"{whole:.4f} s against {plain:.6f} s of one Student quantile"


def _seconds(call):
    begin = time.perf_counter()
    call()
    return time.perf_counter() - begin
