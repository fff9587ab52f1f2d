"""The drift analysis on series that somebody measured, not made: they come with matplotlib.

eeg.dat: four channels of an electroencephalogram, 800 samples each over 10 s; membrane.dat: a
cell's membrane potential, 12 000 samples. Both are voltages, neither is a supply's output, and
nobody knows their true drift. What they check: on measured values with their natural correlation,
offset and wander our means, departures, rate, effective number and Allan deviation are what numpy,
scipy and allantools make of the same values. What they don't: that an uncertainty covers a truth.
"""

import allantools
import matplotlib.cbook
import numpy as np
import pytest
from scipy import stats

from sequencer.numerics import departures, effective_number, minute_means, overlapping, rate

pytestmark = pytest.mark.external

CADENCE_S = 10.0 / 800
BLOCK = 40
PERIOD_S = BLOCK * CADENCE_S


def eeg() -> np.ndarray:
    with matplotlib.cbook.get_sample_data("eeg.dat") as file:
        return np.frombuffer(file.read(), dtype=float).reshape(800, 4).T


def membrane() -> np.ndarray:
    with matplotlib.cbook.get_sample_data("membrane.dat") as file:
        return np.frombuffer(file.read(), dtype=np.float32).astype(float)


SERIES = {
    **{f"eeg {number}": eeg()[number] for number in range(4)},
    "membrane": membrane(),
}


@pytest.fixture(params=SERIES)
def values(request):
    return SERIES[request.param]


def test_the_series_are_what_the_text_says() -> None:
    assert eeg().shape == (4, 800)
    for row in SERIES.values():
        assert np.all(np.isfinite(row))
        # Measured: neighbours are strongly alike, as no white noise is.
        assert np.corrcoef(row[:-1], row[1:])[0, 1] > 0.5


def test_means_departures_and_rate_are_numpys_and_scipys(values: np.ndarray) -> None:
    times = np.arange(values.size) * CADENCE_S
    minutes = minute_means(times, values, PERIOD_S)
    means = values.reshape(-1, BLOCK).mean(axis=1)
    assert minutes.mean == pytest.approx(means)
    found = departures(minutes)
    assert found.from_start.observed == pytest.approx(np.abs(means - means[0]).max())
    assert found.span.observed == pytest.approx(np.ptp(means))
    assert found.about_mean.observed == pytest.approx(np.abs(means - means.mean()).max())
    slope = rate(minutes)
    theirs = stats.linregress(minutes.time, means)
    assert slope.rate == pytest.approx(theirs.slope)
    # With correlated residuals the rate is known no better than scipy's white noise says.
    assert slope.u >= theirs.stderr * 0.999


def test_stability_is_allantools(values: np.ndarray) -> None:
    found = overlapping(values, CADENCE_S)
    _, deviation, _, _ = allantools.oadev(
        values, rate=1 / CADENCE_S, data_type="freq", taus=found.tau_s
    )
    assert found.deviation == pytest.approx(deviation, rel=1e-9)
    assert np.all(found.lower < found.deviation)
    assert np.all(found.deviation < found.upper)


def test_the_uncertainty_of_the_mean_agrees_with_batch_means(values: np.ndarray) -> None:
    # Batch means: T. Conway, Management Science 9 (1963) 47; ten batches, each far longer than the
    # correlation: their scatter needs no model of it. With 9 degrees of freedom it is known to a
    # quarter only.
    batches = np.array([part.mean() for part in np.array_split(values, 10)])
    theirs = float(np.std(batches, ddof=1) / np.sqrt(batches.size))
    ours = effective_number(values).u_mean
    white = float(np.std(values, ddof=1) / np.sqrt(values.size))
    assert 0.4 < ours / theirs < 2.5
    assert ours > 1.5 * white
