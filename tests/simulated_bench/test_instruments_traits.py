"""Instruments that differ from the standards in ways that real ones do."""

from collections.abc import Iterable

import pytest
from faulty_bench import faulty_bench
from scpi_stand_in import StandInWorld, error, table_top

from simulated_bench.errors import ScenarioError
from simulated_bench.instruments.timing import BenchTime
from simulated_bench.scpi.device import Device

METER = "voltmeter_sense"


class Spoken:
    """One instrument with some traits, asked in bytes."""

    def __init__(self, name: str, *traits: str, **more: object) -> None:
        self.world = StandInWorld()
        top = table_top(self.world, **{name: {"traits": list(traits), **more}})
        self.device: Device = top[name].device
        self.answer = top[name].answer
        self.clock = top["clock"].device

    def ask(self, message: str) -> str:
        return self.answer(message.encode()).decode().removesuffix("\n")

    def numbers(self, messages: Iterable[str]) -> list[int]:
        """Return the error that each message leaves."""
        found = []
        for message in messages:
            self.ask(message)
            found.append(error(self.device))
        return found


@pytest.mark.parametrize("name", [METER, "load", "thermometer", "clock"])
def test_answers_end_in_cr_lf(name: str) -> None:
    spoken = Spoken(name, "cr lf")
    assert spoken.answer(b"*OPC?;*OPC?\r") == b"1;1\r\n"
    assert spoken.answer(b"*CLS") == b""


def test_numbers_carry_their_unit() -> None:
    meter, load = Spoken(METER, "unit suffix"), Spoken("load", "unit suffix")
    assert meter.ask("VOLT:RANG?;APER?") == "+4.000000000E+01V;+1.000000000E-01S"
    assert meter.ask("READ?").endswith("V")
    assert float(meter.ask("MEAS?")[:-1]) == pytest.approx(30.0, abs=0.01)
    assert load.ask("CURR 2;CURR?;RES?") == "+2.000000000E+00A;+1.000000000E+04OHM"
    assert load.ask("MEAS:POW?").endswith("W")
    assert load.ask("FUNC?;INP?") == "CURR;0"


def test_a_console_sends_every_line_back() -> None:
    meter = Spoken(METER, "echo", "cr lf")
    assert meter.answer(b"VOLT:RANG 10\r") == b"VOLT:RANG 10\r\n"
    assert meter.answer(b"*OPC?") == b"*OPC?\r\n1\r\n"
    with faulty_bench(load={"traits": ["echo"]}) as bench:
        load = bench.client("load")
        assert load.ask("*OPC?") == "*OPC?"
        assert load.raw() == b"1\n"


def test_without_an_error_queue_only_the_event_register_tells() -> None:
    meter = Spoken(METER, "no error queue")
    assert meter.ask("*ESR?") == "128"
    assert meter.ask("NOTH:ING") == ""
    assert meter.ask("SYST:ERR?") == ""
    assert meter.ask("VOLT:RANG 1E6") == ""
    assert meter.ask("*ESR?;*STB?") == "48;16"  # an answer is there, no error is queued


def test_the_first_answer_to_each_client_is_slow() -> None:
    with faulty_bench(load={"traits": ["slow first answer"], "first_answer": "400 ms"}) as bench:
        for _ in range(2):
            load = bench.client("load")
            load.tell("CURR 1")
            assert load.ask("CURR?", 0.1) == ""
            assert float(load.raw()) == 1.0
            assert load.ask("*OPC?", 0.2) == "1"


def test_a_message_before_a_slow_answer_interrupts_it() -> None:
    with faulty_bench(load={"traits": ["slow first answer"], "first_answer": "400 ms"}) as bench:
        load = bench.client("load")
        load.tell("*IDN?")
        assert load.ask("*OPC?") == "1"
        assert load.raw(0.6) == b""
        assert load.ask("SYST:ERR?").startswith('-410,"Query INTERRUPTED')
        assert int(load.ask("*ESR?")) & 4


def test_a_client_that_listens_after_half_a_question_leaves_it_unterminated() -> None:
    with faulty_bench() as bench:
        half = bench.client("load")
        half.tell("*CLS")
        half.write(b"MEAS:VO")
        half.end_writing()
        assert half.closed()
        load = bench.client("load")
        assert load.ask("SYST:ERR?").startswith('-420,"Query UNTERMINATED')
        assert int(load.ask("*ESR?")) & 4


def test_the_front_panel_keeps_control_until_remote_is_asked_for() -> None:
    load = Spoken("load", "remote lock")
    assert load.numbers(["CURR 1", "INP ON"]) == [-203, -203]
    assert float(load.ask("CURR?")) == 0.0
    assert load.numbers(["SYST:REM", "CURR 1", "*RST;CURR 2", "SYST:LOC", "CURR 3"]) == [
        0,
        0,
        0,
        0,
        -203,
    ]
    assert float(load.ask("CURR?")) == 2.0
    assert Spoken(METER, "remote lock").numbers(["VOLT:RANG 1", "SYST:RWL;:VOLT:RANG 1"]) == [
        -203,
        0,
    ]


def test_switching_off_and_on_returns_control_to_the_front_panel() -> None:
    load = Spoken("load", "remote lock")
    load.ask("SYST:REM;:CURR 1")
    load.device.power_cycle()
    assert load.numbers(["CURR 1"]) == [-203]


def test_a_meter_integrates_over_line_cycles() -> None:
    meter = Spoken(METER, "line cycles")
    assert meter.numbers(["VOLT:APER 0.1", "VOLT:NPLC 3", "FUNC 'VOLT:DC'", "FUNC 'CURR'"]) == [
        -113,
        0,
        0,
        -224,
    ]
    assert float(meter.ask("VOLT:NPLC?")) == 5.0
    assert meter.ask("FUNC?") == '"VOLT:DC"'
    meter.ask("READ?")
    meter.ask("READ?")
    assert meter.world.now == pytest.approx(5 / 50 + 0.010)


def test_a_free_running_meter_tells_its_latest_conversion() -> None:
    meter = Spoken(METER, "free running")
    assert meter.numbers(["READ?", "INIT", "MEAS?"]) == [-113, -113, -113]
    first = meter.ask("FETC?")
    assert float(first) == pytest.approx(30.0, abs=0.01)
    meter.world.volts = 20.0
    assert meter.ask("DATA?") == first
    assert meter.ask("SENS:DATA:LAT?") == first
    assert meter.world.now == 0.0
    meter.world.advance_to(0.2)
    assert float(meter.ask("FETC?")) == pytest.approx(20.0, abs=0.01)
    meter.ask("VOLT:RANG 10")
    assert meter.ask("FETC?") == "9.9E+37"


def test_a_load_may_have_numbered_levels_and_a_switch_of_its_own_name() -> None:
    load = Spoken("load", "static levels")
    assert load.numbers(["CURR 1", "INP ON", "FUNC CURR"]) == [-113, -113, -113]
    assert load.numbers(["MODE CC", "CURR:STAT:L1 2", "LOAD ON", "CURR:STAT:L2 1"]) == [
        *(0, 0, 0, -114)
    ]
    assert load.ask("MODE?;LOAD?") == "CC;ON"
    assert float(load.ask("CURR:STAT:L1?")) == float(load.ask("CURR:STAT:L?")) == 2.0
    assert load.world.load == ("current", pytest.approx(2.0, rel=0.01), True)
    assert float(load.ask("FETC:CURR?")) == pytest.approx(2.0, rel=0.01)
    load.ask("LOAD OFF")
    assert load.world.load[2] is False


def test_a_load_may_answer_in_words() -> None:
    load = Spoken("load", "mode words")
    assert load.numbers(["MODE VOLT", "VOLT 20", "INP 1", "MEAS:VOLT?"]) == [0, 0, 0, -113]
    assert load.ask("MODE?;:INP?") == "VOLTAGE;ON"
    assert load.world.load[0] == "voltage"
    assert float(load.ask("FETC:VOLT?")) == pytest.approx(30.0, rel=0.01)


def test_faults_find_readings_and_settings_in_every_command_tree() -> None:
    faults = (
        {"instrument": "load", "what": "overload", "at": "1 s"},
        {"instrument": "load", "what": "ignored setting", "at": "1 s"},
    )
    for traits in (["static levels"], ["mode words"]):
        with faulty_bench(*faults, load={"traits": traits}) as bench:
            load = bench.client("load")
            bench.clock.ask("CLOC:UNT? 2")
            assert load.ask("FETC:CURR?") == "9.9E+37"
            load.tell("LOAD ON" if traits == ["static levels"] else "INP ON")
            assert load.ask("*OPC?") == "1"
            assert bench.world.load[2] is False


@pytest.mark.parametrize(
    ("name", "traits"),
    [
        ("load", ["line cycles"]),
        (METER, ["static levels"]),
        ("clock", ["free running"]),
        ("load", ["static levels", "mode words"]),
        ("load", ["politeness"]),
    ],
)
def test_traits_that_an_instrument_can_not_have_are_refused(name: str, traits: list[str]) -> None:
    with pytest.raises(ScenarioError, match=rf"instruments.{name}.traits"):
        table_top(**{name: {"traits": traits}})


def test_time_passes_through_every_appointment_in_order() -> None:
    world = StandInWorld()
    time = BenchTime(world)
    seen: list[tuple[str, float]] = []
    time.at(5.0, lambda: seen.append(("b", world.now)))
    time.at(2.0, lambda: (seen.append(("a", world.now)), time.at(3.0, again))[0])

    def again() -> None:
        seen.append(("again", world.now))

    time.advance_to(10.0)
    time.at(1.0, lambda: seen.append(("late", world.now)))
    assert seen == [("a", 2.0), ("again", 3.0), ("b", 5.0), ("late", 10.0)]
