from collections.abc import Mapping

import pytest
from scpi_stand_in import StandInWorld, ask, error

from simulated_bench.errors import ScenarioError
from simulated_bench.instruments.faults.entries import ANSWER, READING, SETTING, STANDING, SUDDEN
from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import Placed, place
from simulated_bench.scenario import load, shipped

METER, LOAD = "voltmeter_sense", "load"


class Bench:
    """A table whose links are asked as a server does while they are disturbed."""

    def __init__(self, *faults: Mapping[str, object]) -> None:
        self.world = StandInWorld()
        self.placed: dict[str, Placed] = place(
            self.world, read_tables({"control": {}}, "test"), 1, faults
        )

    def ask(self, name: str, message: str) -> str:
        placed = self.placed[name]
        if placed.link.disturbed:
            return placed.link.carry(message.encode()).now.decode("latin-1").removesuffix("\n")
        return ask(placed.device, message)

    def until(self, at: float) -> None:
        self.ask("clock", f"CLOC:UNT? {at}")


def fault(instrument: str, what: str, **more: object) -> dict[str, object]:
    return {"instrument": instrument, "what": what, **more}


@pytest.mark.parametrize(("what", "said"), [("overload", "9.9E+37"), ("not a number", "9.91E+37")])
def test_readings_are_replaced_and_settings_are_not(what: str, said: str) -> None:
    bench = Bench(fault(METER, what, after_queries=1, count=2))
    assert float(bench.ask(METER, "READ?")) == pytest.approx(30.0, abs=0.01)
    assert bench.ask(METER, "VOLT:RANG?") == "+4.000000000E+01"
    assert [bench.ask(METER, "READ?"), bench.ask(METER, "INIT;FETC?")] == [said, said]
    assert float(bench.ask(METER, "READ?")) == pytest.approx(30.0, abs=0.01)


def test_every_value_of_a_list_is_replaced() -> None:
    bench = Bench(fault("thermometer", "overload", after_queries=0))
    assert bench.ask("thermometer", "MEAS:TEMP? (@101,102)") == "9.9E+37,9.9E+37"


def test_a_frozen_reading_repeats_what_was_last_read_while_the_world_goes_on() -> None:
    bench = Bench(fault(METER, "frozen reading", at="10 s", lasts="1 min"))
    before = bench.ask(METER, "READ?")
    bench.until(20.0)
    bench.world.volts = 20.0
    assert {bench.ask(METER, "READ?") for _ in range(5)} == {before}
    bench.until(71.0)
    assert float(bench.ask(METER, "READ?")) == pytest.approx(20.0, abs=0.01)


def test_frozen_quantities_of_one_instrument_freeze_apart() -> None:
    bench = Bench(fault(LOAD, "frozen reading", at="1 s", lasts="1 min"))
    bench.until(2.0)
    assert float(bench.ask(LOAD, "MEAS:VOLT?")) == pytest.approx(30.0, rel=0.01)
    assert float(bench.ask(LOAD, "MEAS:CURR?")) == pytest.approx(0.0, abs=0.01)


def test_an_ignored_setting_leaves_no_error_and_shows_only_on_reading_back() -> None:
    bench = Bench(fault(LOAD, "ignored setting", at="1 s"))
    bench.ask(LOAD, "CURR 1;:INP ON")
    bench.until(2.0)
    bench.ask(LOAD, "CURR 2")
    assert bench.ask(LOAD, "SYST:ERR?") == '0,"No error"'
    assert float(bench.ask(LOAD, "CURR?")) == 1.0
    bench.ask(LOAD, "CURR 2")
    assert float(bench.ask(LOAD, "CURR?")) == 2.0


def test_a_full_error_queue_ends_in_an_overflow() -> None:
    bench = Bench(fault(METER, "error queue full", at="1 s"))
    bench.until(1.0)
    device = bench.placed[METER].device
    numbers = [error(device) for _ in range(21)]
    assert numbers == [-300] * 19 + [-350, 0]


def test_a_trip_switches_the_load_off_at_its_moment_in_one_long_step() -> None:
    bench = Bench(fault(LOAD, "trip", at="10 min"))
    bench.ask(LOAD, "CURR 1;:INP ON")
    bench.until(3600.0)
    assert bench.world.load[2] is False
    assert bench.ask(LOAD, "INP?;:INP:PROT:TRIP?") == "0;1"
    bench.ask(LOAD, "INP ON")
    assert bench.ask(LOAD, "INP?") == "0"
    bench.ask(LOAD, "INP:PROT:CLE;:INP ON")
    assert bench.ask(LOAD, "INP?") == "1"
    assert bench.ask("control", "FAUL:LOG?") == '"600.000000 load: trip: begins"'


def test_a_reset_in_the_middle_shows_in_settings_and_the_power_on_bit() -> None:
    bench = Bench(fault(LOAD, "reset", after_queries=2))
    bench.ask(LOAD, "*CLS;FUNC VOLT;:VOLT 20;:INP ON;*ESE 60")
    assert bench.ask(LOAD, "INP?") == "1"
    assert bench.ask(LOAD, "*ESR?") == "0"
    assert bench.ask(LOAD, "INP?;FUNC?") == "0;CURR"
    assert bench.world.load[2] is False
    assert bench.ask(LOAD, "*ESR?;*ESE?") == "128;0"


def test_a_bench_without_faults_keeps_its_messages_bound() -> None:
    bench = Bench(fault(METER, "overload", after_queries=0))
    assert not bench.placed["voltmeter_load"].link.disturbed
    assert bench.placed[METER].link.disturbed
    bench.ask(METER, "READ?")
    assert not bench.placed[METER].link.disturbed


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        (fault(METER, "no answer"), "exactly one of at, after_queries, probability"),
        (fault(METER, "no answer", at="1 s", after_queries=1), "exactly one of"),
        (fault(METER, "no answer", at="1 V"), "at"),
        (fault(METER, "no answer", at="1 s", count=1, lasts="1 s"), "at most one"),
        (fault(METER, "no answer", probability="0 %"), "probability"),
        (fault(METER, "no answer", probability="101 %"), "probability"),
        (fault(METER, "gremlin", at="1 s"), "what"),
        (fault("scope", "no answer", at="1 s"), "instrument: found 'scope'"),
        (fault("control", "no answer", at="1 s"), "instrument: found 'control'"),
        (fault(METER, "trip", at="1 s"), "expected the load"),
        (fault(LOAD, "trip", at="1 s", count=2), "one moment"),
        (fault(METER, "overload", at="1 s", delay="1 s"), "delay"),
        (fault(METER, "wrong instrument", at="1 s"), "becomes"),
        (fault(METER, "wrong instrument", at="1 s", becomes="scope"), "becomes: found 'scope'"),
        (fault(METER, "refused reconnect", at="1 s", count=2), "count"),
    ],
)
def test_a_wrong_entry_is_refused_in_a_scenario_and_on_the_wire(
    entry: dict[str, object], said: str
) -> None:
    with pytest.raises(ScenarioError) as caught:
        Bench(fault(METER, "no answer", at="1 s"), entry)
    assert said in str(caught.value)
    assert "faults.1." in str(caught.value)
    bench = Bench()
    text = ", ".join(
        f"{key} = {value}" if isinstance(value, int) else f"{key} = '{value}'"
        for key, value in entry.items()
    )
    bench.ask("control", f'FAUL:ADD "{text}"')
    assert bench.ask("control", "FAUL:LIST?") == '""'
    answer = bench.ask("control", "SYST:ERR?")
    assert answer.startswith('-224,"Illegal parameter value;')
    assert said in answer


@pytest.mark.parametrize("text", ["", "what", "a = 1}\nfault2 = {b = 2", "= = =", "x" * 3000])
def test_text_that_is_no_entry_is_an_error_on_the_wire(text: str) -> None:
    bench = Bench()
    bench.ask("control", f'FAUL:ADD "{text}"')
    assert bench.ask("control", "SYST:ERR?").startswith("-224,")


def test_faults_can_be_listed_and_cleared() -> None:
    bench = Bench(fault(METER, "overload", at="1 s", lasts="1 h"), fault(LOAD, "trip", at="1 h"))
    bench.until(2.0)
    assert bench.ask("control", "FAUL:LIST?") == (
        '"voltmeter_sense: overload: active","load: trip: waiting"'
    )
    bench.ask("control", "FAUL:CLE")
    bench.until(4000.0)
    assert bench.ask("control", "FAUL:LIST?") == '""'
    assert bench.ask("control", "FAUL:LOG?").endswith('"2.000000 voltmeter_sense: overload: ends"')
    assert float(bench.ask(METER, "READ?")) == pytest.approx(30.0, abs=0.01)


def test_the_control_instrument_is_there_only_when_asked_for() -> None:
    assert "control" not in place(StandInWorld(), read_tables({}, "test"), 1)
    assert list(read_tables({"control": {}}, "test"))[-1] == "control"


def test_every_fault_of_an_instrument_has_a_scenario_whose_control_can_be_asked() -> None:
    shown = {}
    for name in shipped():
        scenario = load(name)
        for table in scenario.faults:
            shown[table["what"]] = name
            tables = read_tables(scenario.instruments, name)
            assert "control" in place(StandInWorld(), tables, 1, scenario.faults)
    assert set(shown) == ANSWER | STANDING | READING | SETTING | SUDDEN
