"""One meter behind a scanner, and relays: the order on the wire, and relays that don't move."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from stand_in import StandIn, hang_up

from drivers.bench import OpenBench
from drivers.connect import connect, connect_reachable, spec_faults
from drivers.errors import InstrumentError, RefusedSetting
from drivers.roles import BenchSpec, ChannelSpec, InstrumentSpec

SENSE = ChannelSpec(
    "voltage.sense", "meter", "voltage", "V", 40.0, input="101", through="scanner", settling_s=0.02
)
SHUNT = ChannelSpec(
    "current.shunt", "meter", "voltage", "A", 0.1, None, "103", 100.0, "scanner", 0.02
)
BOTH = ("voltage.sense", "current.shunt")


@dataclass
class Scanned:
    """A scanner, the meter behind it, a switch, and all messages in their order."""

    scanner: StandIn = field(default_factory=lambda: StandIn("WORKSHOP,SCANNER,SIM0001,1.0"))
    meter: StandIn = field(default_factory=lambda: StandIn("WORKSHOP,METER,SIM0002,1.0"))
    switch: StandIn = field(default_factory=lambda: StandIn("WORKSHOP,SWITCH,SIM0003,1.0"))
    closed: set[str] = field(default_factory=set)
    stuck: bool = False
    range_v: float = 1000.0
    seen: list[str] = field(default_factory=list)

    def spec(self, *channels: ChannelSpec) -> BenchSpec:
        return BenchSpec(
            instruments=tuple(
                InstrumentSpec(name, role, f"scpi-{role}", server.address, timeout_s=0.3)
                for name, role, server in (
                    ("scanner", "scanner", self.scanner),
                    ("meter", "voltmeter", self.meter),
                    ("switch", "switch", self.switch),
                )
            ),
            channels=channels or (SENSE, SHUNT),
        )

    def open(self) -> OpenBench:
        return connect(self.spec(), on_event=lambda _kind, _text: None)


@pytest.fixture
def scanned() -> Iterator[Scanned]:
    made = Scanned()
    points = {"101": "+3.0E+01", "103": "+3.0E-02"}

    def close(text: str) -> None:
        made.seen.append(f"close {text[2:-1]}")
        if not made.stuck:
            made.closed.add(text[2:-1])

    def open_(text: str) -> None:
        made.seen.append(f"open {text[2:-1]}")
        if not made.stuck:
            made.closed.discard(text[2:-1])

    def open_all() -> None:
        made.seen.append("open all")
        made.closed.clear()

    def set_range(text: str) -> None:
        made.seen.append(f"range {text}")
        made.range_v = float(text)

    def read() -> str:
        made.seen.append("read")
        (only,) = made.closed  # two at once would tie points of the bench together
        value = points[only]
        return value if abs(float(value)) <= made.range_v else "9.9E37"

    for relays in (made.scanner, made.switch):
        relays.settings |= {"ROUTe:CLOSe": close, "ROUTe:OPEN": open_}
        relays.answers["ROUTe:OPEN:ALL"] = open_all  # type: ignore[assignment]
        for number in ("101", "103"):
            relays.answers[f"ROUTe:CLOSe? (@{number})"] = lambda n=number: str(
                int(n in made.closed)
            )
    made.meter.settings["SENSe:VOLTage:DC:RANGe"] = set_range
    made.meter.answers["SENSe:VOLTage:DC:RANGe?"] = lambda: f"{made.range_v:E}"
    made.meter.answers["READ?"] = read
    yield made
    for server in (made.scanner, made.meter, made.switch):
        server.close()


def test_each_input_is_visited_once_with_its_own_range(scanned: Scanned) -> None:
    bench = scanned.open()
    readings = bench.read(BOTH)
    assert [r.value for r in readings] == pytest.approx([30.0, 3.0])
    assert scanned.seen == [
        *("range 40", "open all", "close 101", "read"),
        *("range 0.1", "open all", "close 103", "read"),
    ]
    bench.close()


def test_relays_and_range_stay_where_only_one_input_is_read(scanned: Scanned) -> None:
    bench = scanned.open()
    bench.read(("voltage.sense",))
    scanned.seen.clear()
    bench.read(("voltage.sense",))
    assert scanned.seen == ["read"]
    bench.close()


def test_a_moved_relay_gets_its_time_to_settle(scanned: Scanned) -> None:
    bench = scanned.open()
    first = bench.read(BOTH)
    assert first[1].asked_at - first[0].answered_at >= 0.02
    bench.close()


def test_a_scanner_that_was_restarted_is_closed_again(scanned: Scanned) -> None:
    bench = scanned.open()
    bench.read(("voltage.sense",))
    scanned.closed.clear()
    assert bench.read(("voltage.sense",))[0].value == pytest.approx(30.0)
    bench.close()


def test_a_meter_whose_link_broke_has_its_range_again(scanned: Scanned) -> None:
    bench = scanned.open()
    bench.read(("current.shunt",))
    scanned.range_v = 1e-3  # as after a restart
    scanned.meter.special["READ?"] = hang_up
    assert bench.read(("current.shunt",))[0].value == pytest.approx(3.0)
    bench.close()


def test_a_relay_that_does_not_close_gives_no_reading(scanned: Scanned) -> None:
    scanned.stuck = True
    bench = scanned.open()
    with pytest.raises(RefusedSetting, match="relay 101 was to be closed") as caught:
        bench.read(("voltage.sense",))
    assert caught.value.instrument == "scanner"
    assert "read" not in scanned.seen
    bench.close()


def test_without_its_scanner_a_channel_is_not_read_as_if_it_were_connected(
    scanned: Scanned,
) -> None:
    scanned.scanner.close()
    with Path("/dev/null").open(encoding="utf-8") as keys, Path("/dev/null").open("w") as prompt:
        bench, failures = connect_reachable(
            scanned.spec(), on_event=lambda _k, _t: None, prompt=prompt, answers=keys
        )
    assert [f.instrument for f in failures] == ["scanner"]
    with pytest.raises(KeyError, match="scanner"):
        bench.read(("voltage.sense",))
    bench.close()


def test_a_switch_confirms_by_asking(scanned: Scanned) -> None:
    bench = scanned.open()
    switch = bench.switches["switch"]
    assert switch.switch("101", closed=True)
    assert scanned.closed == {"101"}
    scanned.stuck = True
    with pytest.raises(RefusedSetting, match="to be open and says that it is closed"):
        switch.switch("101", closed=False)
    bench.close()


@pytest.mark.parametrize(
    ("through", "input_", "found"),
    [
        ("switch", "103", "no scanner"),
        ("elsewhere", "103", "not on the bench"),
        (None, "103", "not behind the scanner"),
        ("scanner", None, "is behind a scanner"),
    ],
)
def test_what_can_not_be_routed_is_found_before_anything_is_opened(
    scanned: Scanned, through: str | None, input_: str | None, found: str
) -> None:
    other = ChannelSpec("current.shunt", "meter", "voltage", "A", through=through, input=input_)
    if found in ("no scanner", "not on the bench"):
        faults = spec_faults(scanned.spec(other))
    else:
        faults = spec_faults(scanned.spec(SENSE, other))
    assert [f.instrument for f in faults] == ["meter"]
    assert found in str(faults[0])
    assert scanned.meter.connections == 0
    assert isinstance(faults[0], InstrumentError)
