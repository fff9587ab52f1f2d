"""Opening a bench: all of it or nothing, and every mistake told before anything is set."""

import subprocess
import sys
from dataclasses import replace
from typing import Any

import pytest
from table import CHANNELS, Table, changed

from drivers.errors import (
    InstrumentError,
    RefusedSetting,
    UnknownDialect,
    Unreachable,
    WrongIdentity,
)
from drivers.link import resource_manager
from drivers.roles import Bench, BenchSpec, ChannelSpec


def open_sessions() -> int:
    library: Any = resource_manager("@py").visalib
    return len(library.sessions)


def test_identities_are_the_answers(table: Table) -> None:
    bench = table.connect()
    assert bench.identities()["meter_a"] == "WORKSHOP,METER_A,SIM0001,1.0"
    assert set(bench.identities()) == set(table.servers)
    bench.close()
    bench.close()


def test_range_and_integration_are_set_and_read_back(table: Table) -> None:
    bench = table.connect("meter_a")
    assert "SENSe:VOLTage:DC:RANGe 40" in table.servers["meter_a"].log
    assert "SENSe:VOLTage:DC:APERture 0.1" in table.servers["meter_a"].log
    bench.close()


def test_too_small_a_range_is_refused_and_everything_closed(table: Table) -> None:
    before = open_sessions()
    table.servers["meter_a"].answers["SENSe:VOLTage:DC:RANGe?"] = "10"
    with pytest.raises(RefusedSetting, match=r"voltage_range was set to 40.*at least 40"):
        table.connect("load", "meter_a")
    assert open_sessions() == before


def test_wrong_instrument_closes_everything(table: Table) -> None:
    before = open_sessions()
    table.servers["thermo"].answers["*IDN?"] = "WORKSHOP,KETTLE,1,1"
    with pytest.raises(WrongIdentity, match=r"thermo at .*'THERMO' was expected.*KETTLE"):
        table.connect()
    assert open_sessions() == before


def test_unreachable_instrument_closes_everything(table: Table) -> None:
    before = open_sessions()
    table.servers["thermo"].close()
    with pytest.raises(Unreachable, match=r"thermo at "):
        table.connect()
    assert open_sessions() == before


def test_old_errors_are_told_and_gone(table: Table) -> None:
    table.servers["load"].errors.append('-113,"Undefined header"')
    bench = table.connect("load")
    assert table.events == [
        ("error queue", 'at the start: load: -113,"Undefined header"'),
    ]
    bench.close()


def test_nothing_is_connected_when_a_dialect_is_unknown(table: Table) -> None:
    spec = changed(table.spec(), "thermo", dialect="klingon")
    with pytest.raises(UnknownDialect, match=r"no dialect 'klingon'.*scpi-voltmeter"):
        table.open(spec)
    assert all(server.connections == 0 for server in table.servers.values())


def test_role_that_the_dialect_is_not_for_is_refused(table: Table) -> None:
    with pytest.raises(UnknownDialect, match=r"for thermometer, not for 'voltmeter'"):
        table.open(changed(table.spec(), "meter_a", dialect="scpi-thermometer"))


@pytest.mark.parametrize(
    ("channel", "message"),
    [
        (ChannelSpec("x", "thermo", "voltage", "V"), "no question 'voltage'"),
        (ChannelSpec("x", "thermo", "temperature", "degC"), "needs 'input'"),
        (ChannelSpec("x", "nobody", "voltage", "V"), "no such instrument"),
        (
            ChannelSpec("x", "thermo", "temperature", "degC", range_max=1.0, input="1"),
            "no setting 'temperature_range'",
        ),
    ],
)
def test_channel_that_cannot_be_measured_is_refused_before_connecting(
    table: Table, channel: ChannelSpec, message: str
) -> None:
    spec = replace(table.spec(), channels=(channel,))
    with pytest.raises(InstrumentError, match=message):
        table.open(spec)
    assert all(server.connections == 0 for server in table.servers.values())


def test_two_channels_that_want_different_ranges_of_one_meter_are_refused(table: Table) -> None:
    second = replace(CHANNELS[0], name="voltage.load", range_max=4.0)
    with pytest.raises(RefusedSetting, match=r"voltage.sense and voltage.load"):
        table.open(replace(table.spec(), channels=(CHANNELS[0], second)))


def test_person_as_instrument_must_be_on_the_bench(table: Table) -> None:
    with pytest.raises(InstrumentError, match='no instrument has the role "person"'):
        table.open(replace(table.spec(("load",)), operator="instrument"))


def test_empty_bench_opens_with_the_monotonic_clock(table: Table) -> None:
    bench = table.open(BenchSpec((), ()))
    first = bench.clock.now()
    assert bench.clock.sleep_until(first + 0.02) >= first + 0.02
    assert bench.clock.sleep_until(0.0) >= first + 0.02
    bench.close()


def test_pyvisa_is_imported_only_when_a_bench_is_opened() -> None:
    code = "import sys, drivers.connect; sys.exit('pyvisa' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_one_address_twice_is_refused(table: Table) -> None:
    spec = changed(table.spec(), "meter_b", address=table.servers["meter_a"].address)
    with pytest.raises(InstrumentError, match=r"meter_b at .*meter_a has the same address"):
        table.open(spec)


def test_two_loads_are_refused(table: Table) -> None:
    spec = changed(table.spec(), "meter_b", role="load", dialect="scpi-load")
    with pytest.raises(InstrumentError, match=r"has the role 'load' already"):
        table.open(spec)


def test_opened_bench_fits_the_published_roles(table: Table) -> None:
    bench: Bench = table.connect()
    assert bench.load is not None
    assert bench.operator is not None
    assert bench.supply is None
    bench.close()
