"""Units whose limit no rounded corner describes: the points speak, by the same definitions.

True values are the definitions applied by brute force to a fine grid of the made-up curve. The
shapes are those of faults: too little voltage before the regulator, an output that shifts as the
loop begins to oscillate, a limit that folds back in two slopes.
"""

import math

import numpy as np
import pytest

from sequencer.numerics.corner import Corner
from sequencer.numerics.knee import trace_limit

U_I, U_V = 5e-5, 1e-5
SHARP = Corner(30.0, 1e-3, 3.26, -1.2e-3, 0.012)
STATED = {"set_voltage": 30.0, "rated_current": 3.0, "departure": 8e-3, "load_voltage": 1.0}


def limited(extra):
    """Return (current, voltage) of a sharp limit, its output lowered by `extra` volts at I."""
    current, voltage = SHARP.point(np.linspace(-300.0, math.log(29.9), 600_001))
    voltage = voltage - extra(current)
    keep = (current >= 0) & (voltage > 0.5)
    return current[keep], voltage[keep]


def dropped_out(current):
    """Too little voltage before the regulator: a ramp of 0.5 V/A from 2.6 A, softly begun."""
    return 0.5 * 0.03 * np.logaddexp(0.0, (current - 2.6) / 0.03)


def shifted(current):
    """The output shifts by 30 mV where the loop begins to oscillate, at 2.7 A."""
    return 0.03 / (1 + np.exp(-(current - 2.7) / 0.01))


def came_back(current):
    """A dip of 20 mV about 2.6 A, from which the output comes back: the first departure counts."""
    return 0.02 * np.exp(-(((current - 2.6) / 0.04) ** 2))


def true_figures(curve):
    current, voltage = curve
    even = np.linspace(0.0, 2.4, 201)
    slope, start = np.polyfit(even, np.interp(even, current, voltage), 1)
    volts = np.linspace(7.5, 22.5, 201)
    g, a = np.polyfit(volts, np.interp(volts, voltage[::-1], current[::-1]), 1)
    left = np.abs(start + slope * current - voltage) > STATED["departure"]
    knee = (a + g * start) / (1 - g * slope)
    return {
        "limit_current": a + g * 15.0,
        "knee_current": knee,
        "knee_onset": current[np.argmax(left)],
        "short_current": a + g * 1.0,
        "limit_change": a + g * 1.0 - knee,
    }


def swept(curve, rng):
    """Return what a sweep that refines itself about the corner sees, both ways, with noise."""
    current, voltage = curve
    level = np.linspace(0.0, 2.4, 5)
    route = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(current) / 0.02, np.diff(voltage)))])
    beyond = (current > 2.4) & (voltage > 22.5)
    stops = np.linspace(*np.interp([2.41, 3.27], current[beyond], route[beyond]), 60)
    i = [level, np.interp(stops, route, current), np.interp(stops, route, voltage)]
    low = np.append(np.linspace(22.5, 7.5, 9), 1.0)
    amps = np.concatenate([i[0], i[1], np.interp(low, voltage[::-1], current[::-1])])
    volts = np.concatenate([np.interp(level, current, voltage), i[2], low])
    amps, volts = (np.concatenate([one, one[::-1]]) for one in (amps, volts))
    return (
        amps + U_I * rng.standard_normal(amps.size),
        volts + U_V * rng.standard_normal(volts.size),
    )


@pytest.mark.parametrize("extra", [dropped_out, shifted, came_back])
def test_figures_hold_where_no_rounded_corner_describes_the_curve(extra):
    curve = limited(extra)
    truth = true_figures(curve)
    trace = trace_limit(*swept(curve, np.random.default_rng(1)), **STATED)
    assert any("measured points themselves" in note for note in trace.notes)
    for name, true in truth.items():
        found = getattr(trace, name)
        assert abs(found.value - true) <= found.expanded, name
        assert found.expanded < 0.02, name  # not by saying nothing


def test_early_departure_counts_though_the_output_comes_back():
    curve = limited(came_back)
    trace = trace_limit(*swept(curve, np.random.default_rng(2)), **STATED)
    assert trace.knee_onset is not None
    assert trace.knee_onset.value < 2.6


def test_healthy_curve_is_still_fitted():
    trace = trace_limit(*swept(limited(np.zeros_like), np.random.default_rng(3)), **STATED)
    assert trace.notes == ()
    assert not trace.cannot


def test_output_that_follows_no_line_gets_no_onset():
    curve = limited(lambda current: 0.06 / (1 + np.exp(-(current - 1.5) / 0.05)))
    trace = trace_limit(*swept(curve, np.random.default_rng(4)), **STATED)
    assert trace.knee_onset is None
    assert "straight line" in trace.cannot["knee_onset"]
    assert any("straight line" in note for note in trace.notes)
    assert trace.limit_current is not None


def test_limit_that_bends_towards_the_short_is_given_less_surely():
    rng = np.random.default_rng(5)
    i, v = swept(limited(dropped_out), rng)
    straight = trace_limit(i, v, **STATED)
    bent = trace_limit(np.where(v < 2.0, i - 0.8, i), v, **STATED)
    assert straight.short_current.expanded < 0.01
    assert bent.short_current.expanded > 0.4


def test_points_alone_cover_the_truth():
    curve, rng, rounds = limited(dropped_out), np.random.default_rng(6), 40
    truth = true_figures(curve)
    hits = dict.fromkeys(truth, 0)
    for _ in range(rounds):
        trace = trace_limit(*swept(curve, rng), **STATED)
        for name, true in truth.items():
            found = getattr(trace, name)
            hits[name] += abs(found.value - true) <= found.expanded
    for name, count in hits.items():
        assert count / rounds >= 0.9545 - 3 * math.sqrt(0.9545 * 0.0455 / rounds), name
