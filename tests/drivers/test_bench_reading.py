"""Channels read together: order on the wire, times, flags, and what happens when one fails."""

import math
import time
from dataclasses import replace
from pathlib import Path

import pytest
from stand_in import cut, late, send
from table import CHANNELS, Table, changed

from drivers.errors import DamagedAnswer, InstrumentError, NoAnswer, Unreachable

ALL = ("voltage.sense", "current.shunt", "temperature.heatsink", "temperature.ambient")


def test_readings_come_in_the_order_asked_for_and_scaled(table: Table) -> None:
    bench = table.connect()
    readings = bench.read(ALL)
    assert [r.channel for r in readings] == list(ALL)
    assert [r.value for r in readings] == pytest.approx([29.999, 3.0, 41.5, 23.25])
    assert readings[1].raw == "+3.00000000E-02"
    assert {r.flag for r in readings} == {""}
    assert bench.read(list(reversed(ALL)))[0].channel == "temperature.ambient"
    bench.close()


def test_virtual_times_are_the_last_known_time_and_the_one_asked_for_afterwards(
    table: Table,
) -> None:
    bench = table.connect()
    assert bench.clock.sleep_until(200.0) == 200.0
    asked = table.servers["clock"].log.count("CLOCk:TIME?")

    def takes_time() -> str:
        table.bench_time = 200.1
        return "20"

    table.servers["thermo"].answers["MEASure:TEMPerature? (@102)"] = takes_time
    readings = bench.read(ALL)
    assert {r.asked_at for r in readings} == {200.0}
    assert {r.answered_at for r in readings} == {200.1}
    assert table.servers["clock"].log.count("CLOCk:TIME?") == asked + 1
    bench.close()


def test_slow_instruments_overlap(table: Table) -> None:
    spec = table.spec(("meter_a", "meter_b", "load"))
    bench = table.open(spec)
    for name, question in (
        ("meter_a", "READ?"),
        ("meter_b", "READ?"),
        ("load", "MEASure:CURRent?"),
    ):
        table.servers[name].special[question] = late(0.2, b"1\n")
    start = time.monotonic()
    readings = bench.read(("voltage.sense", "current.shunt", "current.load"))
    took = time.monotonic() - start
    assert 0.2 <= took < 0.3  # one after the other would take 0.6 s
    for reading in readings:
        assert 0 <= reading.asked_at < reading.answered_at
        assert reading.answered_at - reading.asked_at >= 0.19
    bench.close()


def test_channels_of_one_instrument_share_a_message(table: Table) -> None:
    bench = table.connect("thermo")
    readings = bench.read(("temperature.ambient", "temperature.heatsink"))
    assert table.servers["thermo"].log[-1] == (
        ":MEASure:TEMPerature? (@102);:MEASure:TEMPerature? (@101)"
    )
    assert [r.value for r in readings] == [23.25, 41.5]
    assert [r.raw for r in readings] == ["23.25", "41.5"]
    bench.close()


@pytest.mark.parametrize("answer", [b"41.5\n", b"41.5;23.25;1\n", b"41.5;\n"])
def test_wrong_number_of_answers_is_damage(table: Table, answer: bytes) -> None:
    bench = table.connect("thermo")
    question = ":MEASure:TEMPerature? (@101);:MEASure:TEMPerature? (@102)"
    table.servers["thermo"].special[question] = send(answer)
    readings = bench.read(("temperature.heatsink", "temperature.ambient"))
    assert [r.value for r in readings] == [41.5, 23.25]
    assert "asked again" in table.kinds()
    bench.close()


def test_channels_of_an_instrument_without_compound_messages_go_in_rounds(
    table: Table, tmp_path: Path
) -> None:
    dialect = tmp_path / "simple.toml"
    dialect.write_text(
        'description = "x"\nroles = ["thermometer"]\n[link]\ncompound = false\n'
        '[questions.temperature]\nask = "MEASure:TEMPerature? (@{input})"\n'
    )
    spec = changed(table.spec(("thermo", "meter_b")), "thermo", dialect=str(dialect))
    bench = table.open(spec)
    readings = bench.read(("temperature.ambient", "temperature.heatsink", "current.shunt"))
    assert table.servers["thermo"].log[-2:] == [
        "MEASure:TEMPerature? (@102)",
        "MEASure:TEMPerature? (@101)",
    ]
    assert [r.value for r in readings] == pytest.approx([23.25, 41.5, 3.0])
    bench.close()


# SCPI-1999, volume 1, numeric parameters: 9.9E37 and -9.9E37 are infinity, 9.91E37 is not a number
@pytest.mark.external
@pytest.mark.parametrize(
    ("raw", "flag"),
    [
        ("9.9E37", "overload"),
        ("+9.90000000E+37", "overload"),
        ("-9.9E37", "overload"),
        ("9.91E37", "not a number"),
    ],
)
def test_overload_and_no_number_are_flagged_and_never_a_value(
    table: Table, raw: str, flag: str
) -> None:
    bench = table.connect("meter_a")
    table.servers["meter_a"].answers["READ?"] = raw
    (reading,) = bench.read(("voltage.sense",))
    assert math.isnan(reading.value)
    assert reading.flag == flag
    assert reading.raw == raw
    bench.close()


def test_one_late_answer_is_asked_for_again_and_the_others_stay_right(table: Table) -> None:
    bench = table.connect()
    table.servers["meter_a"].special["READ?"] = late(0.6, b"11\n")
    readings = bench.read(ALL)
    assert [r.value for r in readings] == pytest.approx([29.999, 3.0, 41.5, 23.25])
    assert table.kinds() == ["closed", "asked again", "reopened"]
    time.sleep(0.5)
    assert bench.read(ALL)[0].value == pytest.approx(29.999)
    bench.close()


def test_one_cut_answer_is_asked_for_again(table: Table) -> None:
    bench = table.connect()
    table.servers["meter_a"].special["READ?"] = cut(b"+2.9", 0.6, b"9990000E+01\n")
    assert bench.read(ALL)[0].value == pytest.approx(29.999)
    bench.close()


@pytest.mark.parametrize(
    "junk",
    [
        b"\n",
        b"nan\n",
        b"inf\n",
        b"1_0\n",
        b"1,5\n",
        b"0x10\n",
        b"29.9 29.9\n",
        b"\xff29\n",
        b"--1\n",
    ],
)
def test_junk_is_never_a_reading(table: Table, junk: bytes) -> None:
    bench = table.connect("meter_a")
    server = table.servers["meter_a"]
    server.special["READ?"] = send(junk)
    server.forever.add("READ?")
    with pytest.raises(DamagedAnswer, match=r"meter_a at TCPIP0.*READ"):
        bench.read(("voltage.sense",))
    server.special.clear()
    assert bench.read(("voltage.sense",))[0].value == pytest.approx(29.999)
    bench.close()


def test_undeclared_unit_is_never_dropped(table: Table) -> None:
    bench = table.connect("meter_a")
    table.servers["meter_a"].answers["READ?"] = "29.9 mV"
    with pytest.raises(DamagedAnswer, match=r"mV"):
        bench.read(("voltage.sense",))
    bench.close()


def test_instrument_that_stays_silent_is_an_error_after_the_others_were_collected(
    table: Table,
) -> None:
    bench = table.connect()
    server = table.servers["meter_a"]
    server.special["READ?"] = late(0.5, b"11\n")
    server.forever.add("READ?")
    with pytest.raises(NoAnswer, match=r"meter_a"):
        bench.read(ALL)
    server.special.clear()
    table.servers["meter_b"].answers["READ?"] = "0.02"
    assert [r.value for r in bench.read(ALL)] == pytest.approx([29.999, 2.0, 41.5, 23.25])
    bench.close()


def test_restarted_meter_gets_its_settings_again(table: Table) -> None:
    bench = table.connect("meter_a")
    assert table.meter_range == 100.0
    table.meter_range = 1000.0
    table.servers["meter_a"].hang_up()
    time.sleep(0.05)
    assert bench.read(("voltage.sense",))[0].value == pytest.approx(29.999)
    assert table.meter_range == 100.0
    assert "reopened" in table.kinds()
    bench.close()


def test_vanished_meter_is_unreachable(table: Table) -> None:
    bench = table.connect("meter_a")
    table.servers["meter_a"].close()
    with pytest.raises(Unreachable):
        bench.read(("voltage.sense",))
    bench.close()


def test_unknown_channel_is_a_key_error(table: Table) -> None:
    bench = table.connect("meter_a")
    with pytest.raises(KeyError):
        bench.read(("voltage.nowhere",))
    bench.close()


def test_interrupted_read_leaves_no_answer_to_the_next(table: Table) -> None:
    bench = table.connect("meter_a", "meter_b")
    session = bench._instruments["meter_b"].session
    original = session.ask

    def interrupted(message: bytes) -> None:
        original(message)
        raise KeyboardInterrupt

    session.ask = interrupted  # type: ignore[method-assign]
    with pytest.raises(KeyboardInterrupt):
        bench.read(("voltage.sense", "current.shunt"))
    session.ask = original  # type: ignore[method-assign]
    table.servers["meter_a"].answers["READ?"] = "5"
    table.servers["meter_b"].answers["READ?"] = "0.01"
    readings = bench.read(("voltage.sense", "current.shunt"))
    assert [r.value for r in readings] == pytest.approx([5.0, 1.0])
    bench.close()


def test_question_that_cannot_be_left_open_is_asked_and_collected_alone(
    table: Table, tmp_path: Path
) -> None:
    dialect = tmp_path / "alone.toml"
    dialect.write_text(
        'description = "x"\nroles = ["voltmeter"]\n[link]\nsplit_read = false\n'
        '[questions.voltage]\nask = "READ?"\n'
    )
    spec = table.spec(
        ("meter_a", "meter_b"),
        tuple(replace(c, range_max=None, integration_s=None) for c in CHANNELS),
    )
    spec = replace(
        spec,
        instruments=tuple(
            replace(i, dialect=str(dialect)) if i.name == "meter_a" else i for i in spec.instruments
        ),
    )
    bench = table.open(spec)
    order: list[str] = []
    for name in ("meter_a", "meter_b"):
        session = bench._instruments[name].session
        for verb in ("ask", "collect"):
            original = getattr(session, verb)

            def traced(value, name=name, verb=verb, original=original):  # type: ignore[no-untyped-def]
                order.append(f"{verb} {name}")
                return original(value)

            setattr(session, verb, traced)
    bench.read(("voltage.sense", "current.shunt"))
    assert order == ["ask meter_b", "ask meter_a", "collect meter_a", "collect meter_b"]
    bench.close()


def test_errors_of_every_queue_are_emptied_and_named(table: Table) -> None:
    bench = table.connect()
    table.servers["thermo"].errors += ['-350,"Queue overflow"', '-113,"Undefined header"']
    assert bench.check_errors() == (
        'thermo: -350,"Queue overflow"',
        'thermo: -113,"Undefined header"',
    )
    assert bench.check_errors() == ()
    bench.close()


def test_queue_that_never_empties_is_an_error(table: Table) -> None:
    bench = table.connect("thermo")
    table.servers["thermo"].special["SYSTem:ERRor?"] = send(b'-100,"Command error"\n')
    table.servers["thermo"].forever.add("SYSTem:ERRor?")
    with pytest.raises(InstrumentError, match=r"does not end"):
        bench.check_errors()
    bench.close()


def test_safety_inputs_read_as_zero_at_rest_and_one_when_raised(table: Table) -> None:
    bench = table.connect("clock", "interlock")
    calm, raised = bench.read(("interlock.smoke", "interlock.stop"))
    assert (calm.value, raised.value) == (0.0, 1.0)
    bench.close()
