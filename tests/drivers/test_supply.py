"""A supply under remote control: order of settings and read-back."""

from collections.abc import Iterator

import pytest
from stand_in import StandIn

from drivers.bench import OpenBench
from drivers.connect import connect
from drivers.errors import RefusedSetting
from drivers.roles import BenchSpec, InstrumentSpec


@pytest.fixture
def server() -> Iterator[StandIn]:
    with StandIn() as stand_in:
        state = {"SOURce:VOLTage": "0", "SOURce:CURRent": "0", "OUTPut": "0"}
        for name in tuple(state):
            stand_in.settings[name] = lambda value, name=name: state.update({name: value})  # type: ignore[misc]
            stand_in.answers[f"{name}?"] = lambda name=name: state[name]  # type: ignore[misc]
        yield stand_in


@pytest.fixture
def bench(server: StandIn) -> Iterator[OpenBench]:
    spec = InstrumentSpec("supply", "supply", "scpi-supply", server.address, timeout_s=0.3)
    opened = connect(BenchSpec((spec,), ()), on_event=lambda _kind, _text: None)
    yield opened
    opened.close()


def test_output_goes_on_last_and_off_first(server: StandIn, bench: OpenBench) -> None:
    assert bench.supply is not None
    said = bench.supply.apply(voltage=30.0, current_limit=3.2, output=True)
    assert said == {"voltage": 30.0, "current_limit": 3.2, "output": True}
    bench.supply.apply(voltage=5.0, current_limit=None, output=False)
    assert [line for line in server.log if "?" not in line] == [
        "SOURce:VOLTage 30",
        "SOURce:CURRent 3.2",
        "OUTPut 1",
        "OUTPut 0",
        "SOURce:VOLTage 5",
    ]
    assert bench.supply.off() is True


def test_nothing_to_set_sends_nothing(server: StandIn, bench: OpenBench) -> None:
    assert bench.supply is not None
    before = len(server.log)
    assert bench.supply.apply(voltage=None, current_limit=None, output=None) == {}
    assert len(server.log) == before


def test_output_that_stays_on_is_refused(server: StandIn, bench: OpenBench) -> None:
    assert bench.supply is not None
    server.answers["OUTPut?"] = "1"
    with pytest.raises(RefusedSetting, match=r"reads back as on"):
        bench.supply.off()
