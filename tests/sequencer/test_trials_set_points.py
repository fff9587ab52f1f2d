"""Set points: what a reference's wander makes of positions that are visited up and down."""

import numpy as np
import pytest

from sequencer.documents.load import load_profile
from sequencer.record.read import Step
from sequencer.requests import Read, Readings
from sequencer.trials import set_points
from sequencer.trials.trial import VOLTAGE, Context, Evidence

DOCUMENTS = load_profile("acceptance")
SETTINGS = np.linspace(0.0, 30.0, 11)
STAY_S, READINGS = 10.0, 6
WALK, NOISE = 5e-6, 20e-6
"""Of the output, per stay; of a reading, in V."""


def evidence(rng, *, walk, noise):
    """Return the visits to a unit that is where it is set but for its reference's walk."""
    steps = []
    wander = walk * np.cumsum(rng.standard_normal(2 * SETTINGS.size))
    for number, setting in enumerate((*SETTINGS, *SETTINGS[::-1])):
        times = {VOLTAGE: number * STAY_S + 0.25 * np.arange(READINGS)}
        read = setting * (1.0 + wander[number]) + noise * rng.standard_normal(READINGS)
        request = Read((VOLTAGE,), READINGS, 0.25, {"setting": float(setting)})
        steps.append(Step(number, request, Readings(times, times, {VOLTAGE: read})))
    return Evidence("set_points", Context(DOCUMENTS.unit, DOCUMENTS.bench), tuple(steps))


def test_a_reference_that_wanders_is_found_beside_noise():
    rng, sizes, scatters = np.random.default_rng(8), [], []
    for _ in range(300):
        found = set_points.positions(evidence(rng, walk=WALK, noise=NOISE))
        sizes.append(found.wander.covariance[-1, -1])
        scatters.append(found.scatter.covariance[0, 0])
    # At 30 V both visits are one stay apart, their mean is off by a quarter of that variance.
    assert np.mean(sizes) == pytest.approx((30.0 * WALK) ** 2 / 4.0, rel=0.15)
    assert np.mean(scatters) == pytest.approx(NOISE**2 / READINGS / 2.0, rel=0.05)


def test_a_steady_reference_has_next_to_no_wander():
    rng, shares = np.random.default_rng(9), []
    for _ in range(50):
        found = set_points.positions(evidence(rng, walk=0.0, noise=NOISE))
        shares.append(np.trace(found.wander.covariance) / np.trace(found.scatter.covariance))
    assert np.median(shares) < 0.3


def test_linearity_covers_a_unit_whose_reference_wanders():
    """All departures are the walk's: as many runs as should hold the true ones, none too many."""
    rng, held, runs = np.random.default_rng(10), 0, 200
    bend = 2e-3 * (SETTINGS - 15.0) ** 2 / 225.0
    line = np.polynomial.Polynomial.fit(SETTINGS, bend, 1)(SETTINGS)
    truth = float(np.max(np.abs(bend - line)))
    for _ in range(runs):
        at = evidence(rng, walk=WALK, noise=NOISE)
        for step, number in zip(at.steps, [*range(11), *range(11)[::-1]], strict=True):
            step.reply.value[VOLTAGE] += bend[number]
        found = {one.name: one for one in set_points.figures(None, at)}["setting_linearity"]
        held += abs(found.value - truth) <= found.expanded
    assert 0.91 * runs <= held <= 0.995 * runs
