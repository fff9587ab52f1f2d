"""The bench document: names that fit together, accuracy in the instrument's own unit."""

from typing import Any

import pytest
from documents_made_up import BENCH, changed, mistakes

from sequencer.documents.bench import ADDRESS, BenchDocument

SHUNT = {
    "instrument": "meter",
    "function": "voltage",
    "range": "100 mV",
    "shunt": "10 mΩ",
    "accuracy": {"offset": "10 µV", "shunt_tolerance": "0.1 %"},
}


def test_a_bench_is_read_into_si() -> None:
    bench = BenchDocument.model_validate(changed(BENCH, "channels", "current.shunt", to=SHUNT))
    channel = bench.channels["current.shunt"]
    assert (channel.unit, channel.range) == ("A", 0.1)
    assert channel.scale == pytest.approx(100.0)
    assert channel.accuracy.offset == pytest.approx(1e-5)
    assert channel.accuracy.shunt_tolerance == 0.001
    assert channel.accuracy.gain == 0.0
    assert bench.channels["voltage.sense"].unit == "V"
    assert bench.channels["temperature.heatsink"].unit == "°C"
    assert not bench.channels["temperature.heatsink"].has_accuracy
    assert bench.instruments_of("load") == ("sink",)
    assert bench.instruments["meter"].timeout == 5.0


def test_guards_are_read_by_the_quantity_of_their_channel() -> None:
    guards = {
        "temperature.heatsink": {"at_most": "85 °C", "rate_at_most": "6 K/min"},
        "voltage.sense": {"at_most": "32 V"},
    }
    bench = BenchDocument.model_validate(changed(BENCH, "guards", to=guards))
    assert bench.guards["temperature.heatsink"].rate_at_most == pytest.approx(0.1)
    assert bench.guards["voltage.sense"].at_most == 32.0
    assert bench.guards["voltage.sense"].at_least is None


ROUTED = BENCH["channels"]["voltage.sense"] | {"through": "sink"}
SIMULATED = changed(changed(BENCH, "simulation", to={}), "instruments", "meter", "address")


def test_only_a_simulated_bench_does_without_addresses() -> None:
    assert BenchDocument.model_validate(SIMULATED).instruments["meter"].address == ""
    assert mistakes(BenchDocument, changed(SIMULATED, "simulation")) == [
        (
            "instruments.meter.address: found nothing, expected an address; only a bench with a "
            "[simulation] table can do without"
        )
    ]


PERSON = {"role": "person", "dialect": "scpi-person", "address": "TCPIP0::h::5::SOCKET"}
CLOCK = {"role": "time_base", "dialect": "t", "address": "TCPIP0::h::6::SOCKET"}
TWO_CLOCKS = changed(
    changed(BENCH, "instruments", "a", to=CLOCK),
    "instruments",
    "b",
    to=CLOCK | {"address": "TCPIP0::h::7::SOCKET"},
)


@pytest.mark.parametrize(
    ("data", "line"),
    [
        (
            changed(BENCH, "instruments", "meter", "address", to="192.168.1.20"),
            (
                'instruments.meter.address: found "192.168.1.20", expected a VISA resource string, '
                "such as TCPIP0::192.168.1.20::5025::SOCKET"
            ),
        ),
        (
            changed(BENCH, "instruments", "meter", "address", to="GPIB0::9"),
            (
                'instruments.warmth.address: found "GPIB0::9", expected an address of '
                "its own (meter "
                "has this one)"
            ),
        ),
        (
            changed(BENCH, "channels", "voltage.sense", "instrument", to="metre"),
            (
                'channels."voltage.sense".instrument: found "metre", expected an '
                "instrument of this "
                'bench (did you mean "meter"?): meter, sink, warmth'
            ),
        ),
        (
            changed(BENCH, "channels", "voltage.sense", "function", to="current"),
            (
                'channels."voltage.sense".function: found "current", expected '
                "voltage: meter is used "
                "as a voltmeter"
            ),
        ),
        (
            changed(BENCH, "channels", "voltage.sense", to=ROUTED | {"input": "101"}),
            (
                'channels."voltage.sense".through: found "sink", expected an instrument whose '
                "role is scanner: there is none"
            ),
        ),
        (
            changed(BENCH, "channels", "voltage.sense", "settling", to="1 s"),
            (
                'channels."voltage.sense".settling: found a settling time, expected this key '
                "only beside 'through'"
            ),
        ),
        (
            changed(BENCH, "channels", "voltage.sense", "function", to="volts"),
            (
                'channels."voltage.sense".function: found "volts", expected one of "voltage", '
                '"current", "temperature", "state"'
            ),
        ),
        (
            changed(BENCH, "channels", "voltage.sense", "function"),
            (
                'channels."voltage.sense".function: found nothing, expected a value: this key is '
                "required"
            ),
        ),
        (
            changed(BENCH, "channels", "voltage.sense", "range", to="40 A"),
            (
                'channels."voltage.sense".range: found "40 A" (a current), expected a positive '
                'voltage as text with its unit, such as "30 mV"'
            ),
        ),
        (
            changed(BENCH, "channels", "current.load", "shunt", to="10 mΩ"),
            (
                'channels."current.load".shunt: found a shunt, expected a shunt only '
                "with function = "
                '"voltage"'
            ),
        ),
        (
            changed(BENCH, "channels", "current.shunt", to=SHUNT | {"accuracy": {"offset": "3 A"}}),
            (
                'channels."current.shunt".accuracy.offset: found "3 A" (a current), expected a '
                'voltage of zero or more as text with its unit, such as "30 mV"'
            ),
        ),
        (
            changed(BENCH, "channels", "voltage.shunt", to=SHUNT),
            (
                'channels."voltage.shunt": found a channel that gives a current, '
                "expected a voltage, "
                "as the channel's name says"
            ),
        ),
        (
            changed(BENCH, "channels", "sense", to=BENCH["channels"]["voltage.sense"]),
            (
                'channels.sense: found "sense", expected a quantity (voltage, '
                "current, temperature, "
                "line, interlock) and a place, such as voltage.sense"
            ),
        ),
        (
            changed(BENCH, "load", "instrument", to="meter"),
            'load.instrument: found "meter", expected an instrument whose role is load: sink',
        ),
        (
            changed(BENCH, "load", "power", to="-5 W"),
            (
                'load.power: found "-5 W" (negative), expected a positive power as text with its '
                'unit, such as "150 W"'
            ),
        ),
        (
            changed(BENCH, "bench", "make_safe", to=["load", "suply"]),
            (
                'bench.make_safe[1]: found "suply", expected what can be switched off on this '
                'bench (did you mean "supply"?): discharge, line, load, sink, supply'
            ),
        ),
        (
            changed(BENCH, "bench", "make_safe", to=["load"]),
            (
                "bench.make_safe: found an order without the supply, expected "
                '"supply" in it: it can hold energy'
            ),
        ),
        (
            changed(BENCH, "bench", "make_safe", to=["load", "supply", "thermometer"]),
            (
                'bench.make_safe[2]: found "thermometer", expected what can be switched off on '
                "this bench: discharge, line, load, sink, supply"
            ),
        ),
        (
            changed(BENCH, "bench", "operator", to="none"),
            (
                'bench.make_safe[1]: found "supply", expected what can be switched off on this '
                "bench: discharge, load, sink"
            ),
        ),
        (
            changed(BENCH, "bench", "operator", to="instrument"),
            (
                "bench.operator: found 0 instruments in the role person, expected exactly one with "
                'operator = "instrument"'
            ),
        ),
        (
            TWO_CLOCKS,
            (
                'instruments.b.role: found "time_base", expected at most one time base (a is one '
                "already)"
            ),
        ),
        (
            changed(BENCH, "guards", to={"voltage.senze": {"at_most": "32 V"}}),
            (
                'guards."voltage.senze": found "voltage.senze", expected a channel of '
                "this bench (did "
                'you mean "voltage.sense"?): current.load, temperature.heatsink, voltage.sense'
            ),
        ),
        (
            changed(BENCH, "guards", to={"voltage.sense": {"at_most": "32 °C"}}),
            (
                'guards."voltage.sense".at_most: found "32 °C" (a temperature), '
                "expected a voltage as "
                'text with its unit, such as "30 mV"'
            ),
        ),
        (
            changed(BENCH, "guards", to={"voltage.sense": {}}),
            (
                'guards."voltage.sense": found a guard without a bound, expected at least one of '
                "at_most, at_least, rate_at_most"
            ),
        ),
        (
            changed(BENCH, "wiring", to={"load_leads": {"length": "1 m"}}),
            (
                "wiring.load_leads: found length, expected either resistance, or length and "
                "cross_section"
            ),
        ),
        (
            changed(BENCH, "simulation", to={"seed": True}),
            "simulation.seed: found true, expected a whole number",
        ),
    ],
)
def test_one_mistake_is_one_line(data: dict[str, Any], line: str) -> None:
    assert mistakes(BenchDocument, data) == [line]


def test_a_mistake_in_one_table_does_not_hide_a_wrong_name_in_another() -> None:
    data = changed(BENCH, "load", "current", to="5 V")
    data = changed(data, "channels", "voltage.sense", "instrument", to="metre")
    keys = [line.split(": ")[0] for line in mistakes(BenchDocument, data)]
    assert keys == ["load.current", 'channels."voltage.sense".instrument']


@pytest.mark.parametrize(
    ("address", "plausible"),
    [
        ("TCPIP0::127.0.0.1::40001::SOCKET", True),
        ("TCPIP::meter.local::INSTR", True),
        ("TCPIP0::10.0.0.5::inst0::INSTR", True),
        ("TCPIP0::10.0.0.5::hislip0,4880::INSTR", True),
        ("ASRL/dev/ttyUSB0::INSTR", True),
        ("ASRL3::INSTR", True),
        ("GPIB0::22::INSTR", True),
        ("USB0::0x1234::0x5678::SN001::INSTR", True),
        ("127.0.0.1:40001", False),
        ("TCPIP0::127.0.0.1::SOCKET::40001", False),
        ("TCPIP0::127.0.0.1::40001::SOCKET ", False),
        ("", False),
    ],
)
def test_addresses_are_visa_resource_strings(address: str, *, plausible: bool) -> None:
    """Forms of the VISA library specification VPP-4.3, section 4.3.1 (from memory of it)."""
    assert (ADDRESS.fullmatch(address) is not None) == plausible


def test_a_given_empty_address_is_refused() -> None:
    assert (
        len(mistakes(BenchDocument, changed(BENCH, "instruments", "meter", "address", to=""))) == 1
    )


def test_a_person_as_an_instrument_is_accepted() -> None:
    data = changed(
        changed(BENCH, "instruments", "p", to=PERSON), "bench", "operator", to="instrument"
    )
    assert mistakes(BenchDocument, data) == []
