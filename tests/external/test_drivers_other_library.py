"""The drivers, unchanged, on another VISA library: PyVISA-sim with instruments of its own parser.

Source: PyVISA-sim, a general-purpose library that this project did not write; it takes the place of
pyvisa-py as a system's own VISA library would (`backend` in the bench document).
"""

from pathlib import Path

import pytest

from drivers.connect import connect
from drivers.errors import InstrumentError
from drivers.exercise import exercise
from drivers.probe import probe
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec

pytest.importorskip("pyvisa_sim")
pytestmark = pytest.mark.external

BACKEND = f"{Path(__file__).parent / 'other_instruments.yaml'}@sim"
CR_LF = {"read_terminator": "\r\n", "write_terminator": "\r\n"}
PLAIN = {"compound": False}
"""That library answers one question a message."""

ROADS = [
    ("TCPIP0::meter.test::5025::SOCKET", "TCPIP0::load.test::5025::SOCKET", {}),
    ("ASRL1::INSTR", "ASRL2::INSTR", CR_LF),
    ("GPIB0::8::INSTR", "USB0::0x1111::0x2222::1::INSTR", {}),
]


@pytest.mark.parametrize(("meter", "load", "ends"), ROADS)
def test_settings_and_readings_through_another_library(
    meter: str, load: str, ends: dict[str, object]
) -> None:
    link = PLAIN | ends
    spec = BenchSpec(
        instruments=(
            InstrumentSpec("meter", "voltmeter", "scpi-voltmeter", meter, "OTHER-METER", link=link),
            InstrumentSpec("load", "load", "scpi-load", load, "OTHER-LOAD", link=link),
        ),
        channels=(
            ChannelSpec("voltage.sense", "meter", "voltage", "V", 40.0, 0.1),
            ChannelSpec("current.load", "load", "current", "A"),
        ),
        options={"backend": BACKEND},
    )
    bench = connect(spec, on_event=lambda _kind, _text: None)
    assert bench.load is not None
    said = bench.load.apply("current", 1.25, on=True)
    assert said == {"mode": "current", "level": 1.25, "on": True}
    voltage, current = bench.read(("voltage.sense", "current.load"))
    assert (voltage.value, current.value) == (29.975, 1.249)
    assert bench.load.off()
    assert bench.check_errors() == ()
    with pytest.raises(InstrumentError):  # its parser refuses 9 A; the read-back stays 1.25 A
        bench.load.apply("current", 9.0, on=False)
    bench.close()


def test_a_setting_that_it_refuses_by_answering_it_is_no_reading() -> None:
    address, _, _ = ROADS[0]
    spec = BenchSpec(
        instruments=(InstrumentSpec("meter", "voltmeter", "scpi-voltmeter", address, link=PLAIN),),
        channels=(ChannelSpec("voltage.sense", "meter", "voltage", "V", range_max=5000.0),),
        options={"backend": BACKEND},
    )
    with pytest.raises(InstrumentError, match=r"the answer was 'ERROR'"):
        connect(spec, on_event=lambda _kind, _text: None)


def test_it_is_recognised_and_exercised() -> None:
    meter, load, _ = ROADS[0]
    assert probe(meter, backend=BACKEND).fits[0].dialect == "scpi-voltmeter"
    spec = InstrumentSpec("load", "load", "scpi-load", load, link=PLAIN)
    outcomes = {tried.operation: tried.outcome for tried in exercise(spec, backend=BACKEND)}
    assert outcomes["input off"] == outcomes["level_current"] == outcomes["current"] == "worked"
    assert outcomes["level_power"] == "failed"  # that instrument has no power mode
