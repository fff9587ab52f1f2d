"""What is common to readings stays common: our budgets against GTC with correlated inputs."""

import math

import GTC
import numpy as np
import pytest

from sequencer.uncertainty.accuracy import Accuracy, absolute, difference, mean_of, scale_components
from sequencer.uncertainty.combine import combine
from sequencer.uncertainty.ratio import ratio_components

pytestmark = pytest.mark.external

SEEDS = range(8)


def statement(rng, *, shunt=False):
    """Draw an accuracy statement; everything a meter may be wrong by, in plausible sizes."""
    return Accuracy(
        gain=10 ** rng.uniform(-5, -2.5),
        offset=10 ** rng.uniform(-5, -3),
        noise=10 ** rng.uniform(-6, -4),
        resolution=10 ** rng.uniform(-6, -4),
        temperature_gain=10 ** rng.uniform(-6, -4),
        temperature_offset=10 ** rng.uniform(-6, -4),
        temperature_span=rng.uniform(0.5, 5.0),
        certified_gain=10 ** rng.uniform(-5, -3),
        certified_offset=10 ** rng.uniform(-5, -3),
        aged_gain=10 ** rng.uniform(-5, -3),
        aged_offset=10 ** rng.uniform(-5, -3),
        shunt=rng.uniform(0.005, 0.1) if shunt else None,
        shunt_tolerance=10 ** rng.uniform(-4, -2) if shunt else 0.0,
        shunt_temperature=10 ** rng.uniform(-6, -4) if shunt else 0.0,
        certified_shunt=10 ** rng.uniform(-4, -3) if shunt else 0.0,
    )


class GtcMeter:
    """The same meter in GTC: one error of each kind, common to all its readings."""

    def __init__(self, stated):
        box = GTC.type_b.uniform
        self.stated = stated
        span = stated.temperature_span
        self.gain = sum(
            GTC.ureal(0, u)
            for u in (
                box(stated.gain),
                box(stated.temperature_gain * span),
                stated.certified_gain,
                box(stated.aged_gain),
                *(
                    ()
                    if stated.shunt is None
                    else (
                        box(stated.shunt_tolerance),
                        box(stated.shunt_temperature * span),
                        stated.certified_shunt,
                    )
                ),
            )
        )
        self.offset = sum(
            GTC.ureal(0, u)
            for u in (
                box(stated.offset),
                box(stated.temperature_offset * span),
                stated.certified_offset,
                box(stated.aged_offset),
            )
        )

    def mean(self, true, readings=1):
        """Return a mean of readings with noise and rounding of its own."""
        stated = self.stated
        dithered = stated.noise >= stated.resolution / 2
        rounding = GTC.type_b.uniform(stated.resolution / 2)
        own = GTC.ureal(0, stated.noise / math.sqrt(readings)) + GTC.ureal(
            0, rounding / (math.sqrt(readings) if dithered else 1)
        )
        per_volt = 1 if stated.shunt is None else 1 / stated.shunt
        return true * (1 + self.gain) + per_volt * (self.offset + own)


@pytest.mark.parametrize("shunt", [False, True])
@pytest.mark.parametrize("seed", SEEDS)
def test_means_and_differences(seed, shunt):
    rng = np.random.default_rng(seed)
    stated = statement(rng, shunt=shunt)
    first, second = rng.uniform(0.1, 40.0, 2)
    readings = int(rng.integers(1, 20))
    meter = GtcMeter(stated)
    assert combine(mean_of(stated, first, readings)).u == pytest.approx(
        GTC.uncertainty(meter.mean(first, readings)), rel=1e-9
    )
    apart = meter.mean(second, readings) - meter.mean(first, readings)
    ours = combine(difference(stated, first, second, lag_s=0.0, readings=readings)).u
    assert ours == pytest.approx(GTC.uncertainty(apart), rel=1e-9)
    # Had both been taken as independent, the common offset would count twice.
    independent = math.hypot(
        combine(absolute(stated, first)).u, combine(absolute(stated, second)).u
    )
    assert ours < independent


@pytest.mark.parametrize("shunt", [False, True])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_ratio_on_one_meter_loses_its_gain(seed, shunt):
    rng = np.random.default_rng(seed)
    stated = statement(rng, shunt=shunt)
    meter = GtcMeter(stated)
    over, under = rng.uniform(0.5, 3.0, 2)
    readings = int(rng.integers(1, 9))
    ratio = meter.mean(over, readings) / meter.mean(under, readings)
    parts = ratio_components(stated, over, under, lag_s=0.0, readings=readings)
    assert not any(part.name.startswith(("gain", "shunt")) for part in parts)
    assert combine(parts).u == pytest.approx(GTC.uncertainty(ratio), rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_slope_of_many_points_keeps_only_the_gain(seed):
    # The slope of V against I on one voltmeter, against GTC carrying every reading's correlation.
    rng = np.random.default_rng(seed)
    stated = statement(rng)
    meter = GtcMeter(stated)
    current = np.linspace(0.0, 3.0, 9)
    true = 30.0 - 2e-3 * current
    readings = [meter.mean(float(value)) for value in true]
    weights = (current - current.mean()) / np.sum((current - current.mean()) ** 2)
    slope = sum(float(w) * reading for w, reading in zip(weights, readings, strict=True))
    own = combine(absolute(Accuracy(noise=stated.noise, resolution=stated.resolution), 0.0)).u
    ours = math.hypot(
        combine(scale_components(stated, -2e-3)).u, own * float(np.sqrt(np.sum(weights**2)))
    )
    assert ours == pytest.approx(GTC.uncertainty(slope), rel=1e-6)
