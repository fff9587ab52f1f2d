"""The knee's propagation by hand against GTC's automatic one."""

import GTC
import numpy as np
import pytest

from sequencer.numerics.limit_figures import crossing
from sequencer.numerics.line import fit_line

pytestmark = pytest.mark.external


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_crossing_of_two_lines_agrees_with_gtc(seed):
    rng = np.random.default_rng(seed)
    i1 = np.linspace(0, 2.4, 9)
    v1 = 30.0 - 0.02 * i1 + 1e-3 * rng.standard_normal(9)
    v2 = np.linspace(7.5, 22.5, 7)
    i2 = 3.4 - 0.01 * v2 + 5e-3 * rng.standard_normal(7)
    current, voltage = crossing(fit_line(i1, v1), fit_line(v2, i2))
    start, slope = GTC.type_a.line_fit(i1, v1).a_b
    a, g = GTC.type_a.line_fit(v2, i2).a_b
    knee = (a + g * start) / (1 - g * slope)
    at = start + slope * knee
    assert current.value == pytest.approx(GTC.value(knee), rel=1e-12)
    assert current.u == pytest.approx(GTC.uncertainty(knee), rel=1e-9)
    assert voltage.u == pytest.approx(GTC.uncertainty(at), rel=1e-9)
    # Welch-Satterthwaite treats each line as one input, GTC its two correlated estimates.
    assert current.dof == pytest.approx(GTC.dof(knee), rel=1e-6)
