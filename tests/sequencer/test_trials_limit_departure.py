"""From which departure on a limit bites: by the promise for the whole current, wherever it is."""

from dataclasses import replace

import pytest

from sequencer.documents.limits import Limit
from sequencer.documents.load import load_profile
from sequencer.trials.following import own_fall
from sequencer.trials.limit_sweep import Settings, departure
from sequencer.trials.trial import Context
from sequencer.trials.warming import band_of

DOCUMENTS = load_profile("acceptance")
HALF = Limit(
    figure="load_regulation",
    at_most="1 mV",
    condition={"voltage": "30 V", "current_to": "1.5 A"},
)
AT_10_V = Limit(figure="load_regulation", at_most="0.5 mV", condition={"voltage": "10 V"})


def context(*limits: Limit) -> Context:
    unit = DOCUMENTS.unit.model_copy(update={"limits": limits})
    return Context(unit, DOCUMENTS.bench)


@pytest.mark.parametrize("first", [(), (HALF,), (AT_10_V,), (HALF, AT_10_V)])
def test_promises_for_less_current_or_another_voltage_do_not_decide(
    first: tuple[Limit, ...],
) -> None:
    for order in ((*first, *DOCUMENTS.unit.limits), (*DOCUMENTS.unit.limits, *first)):
        assert departure(Settings(voltage="30 V"), context(*order)) == pytest.approx(8e-3)
        assert own_fall(context(*order), 30.0) == pytest.approx(8e-3)
        beside = departure(Settings(voltage="29.95 V"), context(*order))
        assert beside == pytest.approx(8e-3, rel=2e-3)


def test_a_promise_for_another_voltage_serves_where_there_is_no_other() -> None:
    assert departure(Settings(voltage="30 V"), context(AT_10_V)) == pytest.approx(0.5e-3)
    assert departure(Settings(voltage="30 V"), context()) == pytest.approx(15e-3)
    less = Settings(voltage="30 V", onset_departure="2 mV")
    assert departure(less, replace(context(AT_10_V, HALF))) == pytest.approx(1e-3)


def test_a_warm_up_goes_by_the_drift_that_is_promised_for_the_longest() -> None:
    def drift(most: str, **stated: str) -> Limit:
        return Limit(figure="drift", definition="span", at_most=most, condition=stated)

    day, hour, other = (
        drift("40 mV", duration="24 h"),
        drift("4 mV", duration="1 h"),
        drift("9 mV", voltage="5 V"),
    )
    bands = {
        band_of(None, 30.0, context(*order)) for order in ((day, hour, other), (other, hour, day))
    }
    assert len(bands) == 1
    assert bands == {band_of(None, 30.0, context(day))}
