"""The warm-up time as a figure: what its budget makes of the times that were drawn."""

import numpy as np
import pytest

from sequencer.documents.load import load_profile
from sequencer.requests import Readings
from sequencer.trials.trial import VOLTAGE, Context, Evidence, Point
from sequencer.trials.warming import warm_up_figure

DOCUMENTS = load_profile("acceptance")
EVIDENCE = Evidence("soak", Context(DOCUMENTS.unit, DOCUMENTS.bench), ())


def warm_up(volts):
    times = {VOLTAGE: np.arange(float(len(volts)))}
    return Point({"part": "warm-up"}, Readings(times, times, {VOLTAGE: np.asarray(volts)}))


def test_a_time_that_the_meter_may_take_to_nothing_has_nothing_within_its_uncertainty():
    """Two minutes graze the edge; what the meter moves by, rectangular, takes a third inside."""
    noise = 5e-6 * np.random.default_rng(2).standard_normal(1200)
    volts = 30.0 + np.where(np.arange(1200) < 120, 1.01e-3, 0.0) + noise
    found = warm_up_figure(EVIDENCE, warm_up(volts), 1e-3, voltage=30.0, reached={})
    assert found.value == pytest.approx(90.0, abs=2.0)
    noise_part = next(part for part in found.budget if "noise of the means" in part.name)
    own = [part for part in found.budget if VOLTAGE in part.name and part is not noise_part]
    assert sum(part.contribution**2 for part in own) > 10 * noise_part.contribution**2
    assert found.expanded >= found.value
    assert found.k == pytest.approx(2.0, abs=1e-3)
