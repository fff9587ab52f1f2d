"""Every further role's dialect against its instrument on the simulated bench, on real sockets."""

import json
import subprocess
import sys

import pytest

from drivers.connect import connect
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec

ROLES = {
    "clock": "time_base",
    "supply": "supply",
    "line_source": "line_source",
    "load": "load",
    "ammeter": "ammeter",
    "scanner": "scanner",
    "voltmeter_scanned": "voltmeter",
    "voltmeter_shunt": "voltmeter",
    "oscilloscope": "oscilloscope",
    "switch": "switch",
}
CHANNELS = (
    ChannelSpec("voltage.sense", "voltmeter_scanned", "voltage", "V", 40.0, 0.1, "101", 1.0,
                "scanner", 0.05),
    ChannelSpec("current.again", "voltmeter_scanned", "voltage", "A", 0.1, 0.1, "103", 100.0,
                "scanner", 0.05),
    ChannelSpec("current.shunt", "voltmeter_shunt", "voltage", "A", 0.1, 0.1, None, 100.0),
    ChannelSpec("current.meter", "ammeter", "current", "A", 5.0, 0.1),
    ChannelSpec("current.load", "load", "current", "A"),
    ChannelSpec("voltage.seen", "oscilloscope", "voltage", "V", 40.0, input="1"),
    ChannelSpec("line.voltage", "line_source", "voltage", "V"),
)  # fmt: skip
NAMES = tuple(channel.name for channel in CHANNELS)


def test_readings_of_the_whole_table_agree() -> None:
    words = ["serve", "--scenario", "full-table", "--port", "0", "--until-stdin-closes"]
    with subprocess.Popen(
        [sys.executable, "-m", "simulated_bench", *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        at = json.loads(process.stdout.readline())["instruments"]
        spec = BenchSpec(
            instruments=tuple(
                InstrumentSpec(name, role, f"scpi-{role.replace('_', '-')}", at[name])
                for name, role in ROLES.items()
            ),
            channels=CHANNELS,
        )
        bench = connect(spec, on_event=lambda _kind, _text: None)
        assert bench.line_source is not None
        assert bench.supply is not None
        assert bench.load is not None
        said = bench.line_source.apply(voltage=225.0, frequency=50.0, output=True)
        assert said == {"voltage": 225.0, "frequency": 50.0, "output": True}
        bench.supply.apply(voltage=30.0, current_limit=3.3, output=True)
        bench.load.apply("current", 1.0, on=True)
        bench.clock.sleep_until(bench.clock.now() + 20.0)
        read = {r.channel: r.value for r in bench.read(NAMES)}
        assert read["voltage.sense"] == pytest.approx(30.0, abs=0.05)
        assert read["voltage.seen"] == pytest.approx(30.0, abs=1.5)  # 2 % and 1 % of range
        assert read["line.voltage"] == pytest.approx(225.0, rel=5e-3)
        for channel in ("current.again", "current.shunt", "current.meter", "current.load"):
            assert read[channel] == pytest.approx(1.0, abs=0.012), channel
        # 40 ohm beside the load: a load's readback doesn't see that current, a shunt does.
        assert bench.switches["switch"].switch("103", closed=True)
        bench.clock.sleep_until(bench.clock.now() + 5.0)
        read = {r.channel: r.value for r in bench.read(NAMES)}
        assert read["current.load"] == pytest.approx(1.0, abs=0.012)
        assert read["current.shunt"] == pytest.approx(1.0 + 30.0 / 40.0, rel=0.03)
        assert bench.switches["switch"].switch("103", closed=False)
        assert bench.load.off()
        assert bench.line_source.off()
        bench.clock.sleep_until(bench.clock.now() + 60.0)
        assert bench.read(("line.voltage",))[0].value == pytest.approx(0.0, abs=0.5)
        assert bench.check_errors() == ()
        bench.close()
        assert process.stdin is not None
        process.stdin.close()
        process.wait(10)
