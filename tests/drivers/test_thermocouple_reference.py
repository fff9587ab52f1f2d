"""A thermocouple whose terminals' temperature is another channel, read with it each time."""

import math

import pytest
from stand_in import StandIn

from drivers.connect import connect
from drivers.errors import UnknownDialect
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec
from sequencer.documents.accuracy import TemperatureAccuracy
from sequencer.documents.channels import TemperatureChannel
from sequencer.documents.load import load_profile
from sequencer.trials.trial import Context

PAIR, BLOCK = "temperature.heatsink", "temperature.block"
COUPLE = "scpi-thermometer-thermocouple"


def spec(pair: str, block: str, dialect: str = COUPLE) -> BenchSpec:
    return BenchSpec(
        instruments=(
            InstrumentSpec("couple", "thermometer", dialect, pair, timeout_s=1.0),
            InstrumentSpec("block", "thermometer", "scpi-thermometer", block, timeout_s=1.0),
        ),
        channels=(
            ChannelSpec(PAIR, "couple", "temperature", "°C", input="101", reference=BLOCK),
            ChannelSpec(BLOCK, "block", "temperature", "°C", input="101"),
        ),
    )


@pytest.mark.parametrize(
    ("millivolts", "block_degc", "degc"),
    [
        # NIST ITS-90, type K against 0 °C: 1.000 mV at 25 °C, 2.023 at 50 °C, 4.096 at 100 °C.
        (4.096 - 1.000, "2.5E+01", 100.0),
        (2.023 - 1.000, "2.5E+01", 50.0),
        (1.000 - 2.023, "5.0E+01", 25.0),  # colder than its terminals
        (60.0, "2.5E+01", math.nan),  # no such temperature: the pair is broken
        (1.0, "9.91E+37", math.nan),
    ],
)
def test_the_terminals_temperature_is_read_with_it(
    millivolts: float, block_degc: str, degc: float
) -> None:
    with StandIn() as couple, StandIn() as block:
        couple.answers["MEASure:VOLTage:DC? (@101)"] = f"{millivolts * 1e-3:.6E}"
        block.answers["MEASure:TEMPerature? (@101)"] = block_degc
        bench = connect(spec(couple.address, block.address), on_event=lambda _kind, _text: None)
        (alone,) = bench.read((PAIR,))
        both = bench.read((BLOCK, PAIR))
        bench.close()
    assert [one.channel for one in both] == [BLOCK, PAIR]
    for reading in (alone, both[1]):
        assert reading.value == pytest.approx(degc, abs=0.02, nan_ok=True)
        assert (reading.flag == "") == math.isfinite(degc)


def test_a_thermometer_that_is_no_thermocouple_needs_no_reference() -> None:
    with (
        StandIn() as couple,
        StandIn() as block,
        pytest.raises(UnknownDialect, match="thermocouple"),
    ):
        connect(
            spec(couple.address, block.address, "scpi-thermometer"),
            on_event=lambda _kind, _text: None,
        )


def test_the_terminals_accuracy_counts_in_the_channel_s() -> None:
    documents = load_profile("acceptance")
    channels = {
        PAIR: TemperatureChannel(
            instrument="thermometer",
            function="temperature",
            reference=BLOCK,
            accuracy=TemperatureAccuracy(offset="0.5 K", noise="30 mK"),
        ),
        BLOCK: TemperatureChannel(
            instrument="thermometer",
            function="temperature",
            accuracy=TemperatureAccuracy(offset="0.3 K", noise="40 mK"),
        ),
    }
    bench = documents.bench.model_copy(update={"channels": channels})
    together = Context(documents.unit, bench).accuracy(PAIR)
    assert together.offset == pytest.approx(0.8)
    assert together.noise == pytest.approx(0.05)
    assert Context(documents.unit, bench).accuracy(BLOCK).offset == pytest.approx(0.3)
