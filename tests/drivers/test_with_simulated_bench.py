"""The drivers against the simulated bench, a program of its own that they meet only on the wire."""

import json
import subprocess
import sys
from collections.abc import Iterator, Mapping

import pytest

from drivers.bench import OpenBench
from drivers.connect import connect
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec

ROLES = {
    "clock": "time_base",
    "voltmeter_sense": "voltmeter",
    "voltmeter_load": "voltmeter",
    "voltmeter_shunt": "voltmeter",
    "load": "load",
    "thermometer": "thermometer",
    "person": "person",
}
CHANNELS = (
    ChannelSpec("voltage.sense", "voltmeter_sense", "voltage", "V", 40.0, 0.1),
    ChannelSpec("voltage.load", "voltmeter_load", "voltage", "V", 40.0, 0.1),
    ChannelSpec("current.shunt", "voltmeter_shunt", "voltage", "A", 0.1, 0.1, scale=100.0),
    ChannelSpec("current.load", "load", "current", "A"),
    ChannelSpec("temperature.heatsink", "thermometer", "temperature", "degC", input="101"),
    ChannelSpec("temperature.ambient", "thermometer", "temperature", "degC", input="102"),
)
ALL = tuple(channel.name for channel in CHANNELS)
PERSON_LIMIT_S = 120.0


@pytest.fixture(scope="module")
def addresses() -> Iterator[Mapping[str, str]]:
    words = ["serve", "--scenario", "healthy", "--seed", "1", "--port", "0", "--until-stdin-closes"]
    with subprocess.Popen(
        [sys.executable, "-m", "simulated_bench", *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        yield json.loads(process.stdout.readline())["instruments"]
        assert process.stdin is not None
        process.stdin.close()
        process.wait(10)


@pytest.fixture
def events() -> list[tuple[str, str]]:
    return []


@pytest.fixture
def bench(addresses: Mapping[str, str], events: list[tuple[str, str]]) -> Iterator[OpenBench]:
    spec = BenchSpec(
        instruments=tuple(
            InstrumentSpec(name, role, f"scpi-{role.replace('_', '-')}", addresses[name])
            for name, role in ROLES.items()
        ),
        channels=CHANNELS,
        operator="instrument",
    )
    opened = connect(spec, on_event=lambda kind, text: events.append((kind, text)))
    yield opened
    opened.close()


def turn_knobs(bench: OpenBench, text: str, channel: str, low: float, high: float) -> float:
    """Let the person do something until the channel is in its band; return the last value."""
    assert bench.operator is not None
    bench.operator.instruct(text)
    start = at = bench.clock.now()
    value, seen = float("nan"), 0
    while at < start + PERSON_LIMIT_S and seen < 3:
        assert bench.operator.state().state != "confused"
        value = bench.read((channel,))[0].value
        within = low <= value <= high
        seen = seen + 1 if within else 0
        bench.operator.show(channel, value, within=within)
        at = bench.clock.sleep_until(at + 1.0)
    bench.operator.finish()
    return value


def test_one_small_measurement_from_line_on_to_load_off(
    bench: OpenBench, events: list[tuple[str, str]]
) -> None:
    assert bench.load is not None
    assert bench.operator is not None
    for text in ("Switch the supply on at the line.", "Turn the current limit fully up."):
        bench.operator.instruct(text)
        start = bench.clock.now()
        while bench.operator.state().state == "busy":
            assert bench.clock.sleep_until(bench.clock.now() + 1.0) < start + PERSON_LIMIT_S
        assert bench.operator.state().state == "done"
        bench.operator.finish()
    bench.operator.instruct("Switch the output on.")
    bench.clock.sleep_until(bench.clock.now() + 20.0)
    bench.operator.finish()
    value = turn_knobs(bench, "Set the output voltage to 30.000 V.", "voltage.sense", 29.9, 30.1)
    assert value == pytest.approx(30.0, abs=0.1)

    said = bench.load.apply("current", 1.5, on=True)
    assert said["on"] is True
    bench.clock.sleep_until(bench.clock.now() + 2.0)
    before = bench.clock.now()
    readings = {reading.channel: reading for reading in bench.read(ALL)}
    assert readings["voltage.sense"].value == pytest.approx(30.0, abs=0.2)
    assert readings["voltage.load"].value == pytest.approx(readings["voltage.sense"].value, abs=0.1)
    assert readings["current.shunt"].value == pytest.approx(1.5, abs=0.02)
    assert readings["current.load"].value == pytest.approx(1.5, abs=0.02)
    assert 0 < readings["temperature.ambient"].value < 40
    assert readings["temperature.heatsink"].value > readings["temperature.ambient"].value - 1
    assert {reading.flag for reading in readings.values()} == {""}
    assert {reading.asked_at for reading in readings.values()} == {before}
    taken_s = readings["voltage.sense"].answered_at - before
    assert 0.1 <= taken_s < 1.0  # the slowest, not the sum

    assert bench.load.off() is True
    bench.clock.sleep_until(bench.clock.now() + 2.0)
    assert bench.read(("current.shunt",))[0].value == pytest.approx(0.0, abs=0.01)
    assert bench.check_errors() == ()
    assert events == []


def test_identities_name_every_instrument(bench: OpenBench) -> None:
    assert len(set(bench.identities().values())) == len(ROLES)
    assert all(text.count(",") == 3 for text in bench.identities().values())


def test_sleeping_reaches_the_time_and_the_past_returns_at_once(bench: OpenBench) -> None:
    now = bench.clock.now()
    reached = bench.clock.sleep_until(now + 600.0)
    assert reached == pytest.approx(now + 600.0, abs=1e-3)
    assert bench.clock.sleep_until(now) == pytest.approx(reached, abs=1e-3)
