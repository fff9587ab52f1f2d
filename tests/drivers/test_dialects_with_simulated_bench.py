"""Every shipped dialect of meters and loads against an instrument of its trait, on real sockets."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from drivers.connect import connect
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec

CR_LF = {"read_terminator": "\r\n"}
REMOTE = {"on_open": ("SYSTem:REMote",), "on_close": ("SYSTem:LOCal",)}
SLOW = {"first_answer": 5.0}

MUTE = {"error_queue": False}
ECHO = {"echo": True}
CYCLES_REMOTE = {"on_open": ("SYSTem:REMote", 'SENSe:FUNCtion "VOLTage:DC"')}

CASES = [
    # meter's traits, dialect after "scpi-voltmeter", link; the same of the load
    ([], "", {}, [], "", {}),
    (["line cycles"], "-line-cycles", {}, ["static levels"], "-static-levels", {}),
    (["free running"], "-free-running", {}, ["mode words"], "-mode-words", {}),
    (["unit suffix"], "-units", {}, ["unit suffix"], "-units", {}),
    (["cr lf"], "", CR_LF, ["cr lf"], "", CR_LF),
    (["echo"], "", ECHO, ["echo"], "", ECHO),
    (["no error queue"], "", MUTE, ["no error queue"], "", MUTE),
    (["remote lock"], "", REMOTE, ["remote lock"], "", REMOTE),
    (["slow first answer"], "", SLOW, ["slow first answer"], "", SLOW),
    (
        ["cr lf", "echo", "line cycles", "remote lock"],
        "-line-cycles",
        CR_LF | ECHO | CYCLES_REMOTE,
        ["cr lf", "echo", "static levels", "no error queue"],
        "-static-levels",
        CR_LF | ECHO | MUTE,
    ),
]

SCENARIO = """
name = "traits"
description = "Instruments with ways of their own"
based_on = "healthy"
[instruments.voltmeter_load]
traits = {meter}
[instruments.load]
traits = {load}
"""


@pytest.mark.parametrize(
    ("meter_traits", "meter", "meter_link", "load_traits", "load", "load_link"), CASES
)
def test_settings_and_readings_of_each_trait(
    tmp_path: Path,
    meter_traits: list[str],
    meter: str,
    meter_link: dict[str, object],
    load_traits: list[str],
    load: str,
    load_link: dict[str, object],
) -> None:
    scenario = tmp_path / "traits.toml"
    traits = {"meter": json.dumps(meter_traits), "load": json.dumps(load_traits)}
    scenario.write_text(SCENARIO.format(**traits))
    words = ["serve", "--scenario", str(scenario), "--port", "0", "--until-stdin-closes"]
    with subprocess.Popen(
        [sys.executable, "-m", "simulated_bench", *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        at = json.loads(process.stdout.readline())["instruments"]
        spec = BenchSpec(
            instruments=(
                InstrumentSpec("clock", "time_base", "scpi-time-base", at["clock"]),
                InstrumentSpec(
                    "meter",
                    "voltmeter",
                    f"scpi-voltmeter{meter}",
                    at["voltmeter_load"],
                    timeout_s=0.6,
                    link=meter_link,
                ),
                InstrumentSpec(
                    "load", "load", f"scpi-load{load}", at["load"], timeout_s=0.6, link=load_link
                ),
            ),
            channels=(
                ChannelSpec("voltage.load", "meter", "voltage", "V", 40.0, 0.1),
                ChannelSpec("current.load", "load", "current", "A"),
            ),
        )
        events: list[tuple[str, str]] = []
        bench = connect(spec, on_event=lambda kind, text: events.append((kind, text)))
        assert bench.load is not None
        for mode, level in (
            ("current", 1.25),
            ("voltage", 12.5),
            ("resistance", 20.0),
            ("power", 9.0),
        ):
            said = bench.load.apply(mode, level, on=True)  # type: ignore[arg-type]
            assert said["mode"] == mode
            assert said["level"] == pytest.approx(level, rel=1e-3)
            assert said["on"] is True
        assert bench.load.off()
        bench.clock.sleep_until(bench.clock.now() + 5)
        voltage, current = bench.read(("voltage.load", "current.load"))
        assert voltage.value == pytest.approx(0.0, abs=0.2)  # the unit's line switch is off
        assert current.value == pytest.approx(0.0, abs=0.01)
        assert bench.check_errors() == ()
        assert [kind for kind, _ in events if kind != "error queue"] == []
        bench.close()
        assert process.stdin is not None
        process.stdin.close()
        process.wait(10)
