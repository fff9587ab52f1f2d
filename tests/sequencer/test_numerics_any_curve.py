"""Whatever was measured, a trace gives figures with reasons, or refuses in words; never a crash."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sequencer.errors import FigureError
from sequencer.numerics.corner import Corner
from sequencer.numerics.knee import hysteresis, trace_limit

NAMES = (
    "limit_current",
    "knee_current",
    "knee_voltage",
    "knee_onset",
    "knee_sharpness",
    "limit_change",
    "short_current",
    "foldback_ratio",
)


def traced(i, v, **stated):
    return trace_limit(
        i, v, set_voltage=30.0, rated_current=3.0, departure=8e-3, load_voltage=1.0, **stated
    )


def said_or_refused(i, v, **stated):
    """Trace; every figure is a finite number with an uncertainty, or a reason stands for it."""
    try:
        trace = traced(i, v, **stated)
    except FigureError:
        return  # refused, in words
    for name in NAMES:
        found = getattr(trace, name)
        if found is None:
            assert trace.cannot[name].strip()
        else:
            assert np.isfinite([found.value, found.u, found.per_sinking]).all()
            assert found.u >= 0
            assert found.dof > 0
            assert name not in trace.cannot


QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
ANYTHING = st.floats(allow_nan=True, allow_infinity=True, width=64)
PLAUSIBLE = st.floats(-1.0, 40.0)


@QUICK
@given(st.integers(0, 40).flatmap(lambda n: st.tuples(*(arrays(float, n, elements=ANYTHING),) * 2)))
def test_any_numbers(points):
    said_or_refused(*points)


@QUICK
@given(
    st.integers(6, 40).flatmap(lambda n: st.tuples(*(arrays(float, n, elements=PLAUSIBLE),) * 2))
)
def test_any_plausible_numbers(points):
    said_or_refused(*points)


@st.composite
def curves(draw):
    """Draw a swept curve, healthy to absurd: soft, folded, noisy, stepped, collapsed, cut off."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    corner = Corner(
        draw(st.floats(0.5, 32.0)),
        draw(st.floats(-0.05, 0.5)),
        draw(st.floats(0.0, 5.0)),
        draw(st.floats(-0.02, 0.1)),
        10 ** draw(st.floats(-5.0, 0.5)),
    )
    level = np.linspace(0.0, draw(st.sampled_from([0.0, 1.0, 2.4, 3.5])), draw(st.integers(0, 9)))
    s = np.log(np.geomspace(1e-4, 30.0, draw(st.integers(0, 40))))
    bent_i, bent_v = corner.point(s)
    flat_v = corner.v0 - corner.r * level
    i, v = np.concatenate([level, bent_i]), np.concatenate([flat_v, bent_v])
    early = draw(st.floats(0.0, 4.0))
    v = v - draw(st.sampled_from([0.0, 5e-3, 0.1, 5.0])) * (i > early)
    if draw(st.booleans()):
        i, v = np.tile(i, 2), np.tile(v, 2)
    i = i + 10 ** draw(st.floats(-7.0, 0.0)) * rng.standard_normal(i.size)
    v = v + 10 ** draw(st.floats(-7.0, 0.5)) * rng.standard_normal(v.size)
    if draw(st.booleans()):
        keep = rng.random(i.size) < draw(st.floats(0.1, 1.0))
        i, v = i[keep], v[keep]
    if draw(st.booleans()):
        i = np.round(i, 1)
    return i, v


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(curves(), st.sampled_from([{}, {"u_current": 2e-4, "u_voltage": 5e-5}]))
def test_any_curve(points, stated):
    said_or_refused(*points, **stated)


@pytest.mark.parametrize("current", [0.0, 3.0])
@pytest.mark.parametrize("voltage", [0.0, 0.7, 15.0, 30.0])
def test_nothing_changes(current, voltage):
    said_or_refused(np.full(12, current), np.full(12, voltage))


def test_overload_markers_are_refused():
    with pytest.raises(FigureError, match="overload"):
        traced([0, 1, 2, 3, 3.1, 9.9e37], [30, 30, 30, 29, 15, 1])


@pytest.mark.parametrize("volts", [[8.0, 8.0, 8.0], [8.0, 8.0, 9.0], [8.0, 9.0, 9.0, 8.0]])
def test_hysteresis_between_too_few_voltages_is_refused(volts):
    amps = [3.0] * len(volts)
    with pytest.raises(FigureError, match=r"different voltages on the ways.*expected at least 3"):
        hysteresis(amps, volts, amps, volts, set_voltage=30.0)


@QUICK
@given(st.data())
def test_any_hysteresis(data):
    n, m = data.draw(st.integers(0, 12)), data.draw(st.integers(0, 12))
    element = data.draw(st.sampled_from([ANYTHING, PLAUSIBLE]))
    rows = [data.draw(arrays(float, size, elements=element)) for size in (n, n, m, m)]
    try:
        found = hysteresis(*rows, set_voltage=data.draw(st.sampled_from([30.0, 1.0, 0.0, -5.0])))
    except FigureError:
        return
    assert np.isfinite([found.value, found.u]).all()
