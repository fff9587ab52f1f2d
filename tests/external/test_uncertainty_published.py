"""Combination, coverage factors, agreement and decision risk against published numbers and GTC."""

import math

import GTC
import numpy as np
import pytest

from sequencer.results import Figure
from sequencer.uncertainty.agreement import agreement_number
from sequencer.uncertainty.combine import combine, coverage_factor, rectangular, type_a
from sequencer.uncertainty.figure import make_figure
from sequencer.verdicts.decide import decide, probability_of_conformance
from sequencer.verdicts.risk import risk_at_limit

pytestmark = pytest.mark.external


def test_effective_degrees_of_freedom_of_the_guide():
    # JCGM 100:2008, G.4.1, example: 1.03 % with 19.0 effective degrees of freedom.
    parts = [type_a("p", 0.25, 9), type_a("q", 0.57, 4), type_a("r", 0.82, 14)]
    total = combine(parts)
    assert round(total.u, 2) == 1.03
    assert round(total.dof, 1) == 19.0


@pytest.mark.parametrize(
    ("dof", "k"),
    [(1, 13.97), (2, 4.53), (5, 2.65), (10, 2.28), (20, 2.13), (50, 2.05), (math.inf, 2.00)],
)
def test_coverage_factors_of_the_guide(dof, k):
    # JCGM 100:2008, table G.2, column 95.45 %.
    assert round(coverage_factor(dof), 2) == k


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_combination_agrees_with_gtc(seed):
    rng = np.random.default_rng(seed)
    parts, model = [], GTC.ureal(0.0, 0.0)
    for index in range(6):
        u, sensitivity = rng.uniform(0.1, 2.0), rng.uniform(-3, 3)
        if index % 2:
            parts.append(rectangular("b", u, sensitivity))
            model = model + sensitivity * GTC.ureal(0.0, GTC.type_b.uniform(u))
        else:
            dof = float(rng.integers(1, 30))
            parts.append(type_a("a", u, dof, sensitivity))
            model = model + sensitivity * GTC.ureal(0.0, u, dof)
    total = combine(parts)
    assert total.u == pytest.approx(GTC.uncertainty(model), rel=1e-12)
    assert total.dof == pytest.approx(GTC.dof(model), rel=1e-10)
    # GTC takes Student's t whatever the distributions: the same factor without the rectangles.
    smooth = combine([part for part in parts if part.distribution != "rectangular"])
    assert smooth.k == pytest.approx(GTC.reporting.k_factor(smooth.dof, 95.45), rel=1e-3)


def test_agreement_number_of_two_results():
    # ISO/IEC 17043, annex B: E_n = (x1 - x2)/sqrt(U1^2 + U2^2); worked by hand, 3-4-5 triangle.
    assert agreement_number(10.0, 3.0, 6.0, 4.0) == pytest.approx(0.8)
    assert agreement_number(6.0, 4.0, 12.0, 3.0) == pytest.approx(-1.2)


BOXES = [rectangular("b", 1.0), rectangular("c", 0.4)]


def test_guard_band_of_u_leaves_at_most_two_and_a_half_percent():
    # ILAC-G8:09/2019, table 1: w = U, specific risk < 2.5 % PFA; simple acceptance < 50 %.
    normal_one = Figure("t", "f", 1.0, "V", 0.5, math.inf, 2.0, 1.0)
    assert risk_at_limit(normal_one, None, 2.0, "guarded").false_accept == pytest.approx(
        0.02275, abs=1e-5
    )
    for parts in ([type_a("a", 0.5, 4)], [rectangular("a", 1.0)], [type_a("a", 0.5, 3), *BOXES]):
        risk = risk_at_limit(make_figure("t", "f", 1.0, "V", parts), None, 2.0, "guarded")
        assert risk.false_accept == pytest.approx(0.02275, abs=1e-5) == risk.false_reject
    assert risk_at_limit(normal_one, None, 2.0, "simple").false_accept == 0.5


def test_units_at_the_limit_are_passed_as_rarely_as_said():
    # The same risk counted: true value at the limit, measured with few degrees of freedom.
    rng = np.random.default_rng(11)
    limit, trials, passed, readings = 1.0, 4000, 0, 4
    simple = 0
    for _ in range(trials):
        values = limit + 0.1 * rng.standard_normal(readings)
        u = values.std(ddof=1) / math.sqrt(readings)
        part = type_a("scatter", float(u), readings - 1)
        figure = make_figure("t", "drift", float(values.mean()), "V", [part])
        passed += decide(figure, None, limit, "guarded", True).outcome == "pass"
        simple += decide(figure, None, limit, "simple", True).outcome == "pass"
    # Three standard deviations of a binomial count about 2.275 % and 50 %.
    assert abs(passed / trials - 0.02275) < 3 * math.sqrt(0.02275 * 0.97725 / trials)
    assert abs(simple / trials - 0.5) < 3 * math.sqrt(0.25 / trials)


def test_probability_of_conformance_example():
    # JCGM 106:2012, 7.3 with a normal distribution, one standard uncertainty below an upper limit:
    # Phi(1) = 0.841345; between two limits at -1 and +2 u: Phi(2) - Phi(-1) = 0.818595.
    figure = Figure("t", "f", 1.0, "V", 0.5, math.inf, 2.0, 1.0)
    assert probability_of_conformance(figure, None, 1.5) == pytest.approx(0.841345, abs=1e-6)
    assert probability_of_conformance(figure, 0.5, 2.0) == pytest.approx(0.818595, abs=1e-6)
