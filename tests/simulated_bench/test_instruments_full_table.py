"""Every kind of instrument that a scenario can put on the table, on the real physics."""

import numpy as np
import pytest
from scpi_stand_in import StandInWorld, ask, error, table_top

from simulated_bench.errors import ScenarioError
from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import place
from simulated_bench.instruments.tables import SHIPPED
from simulated_bench.scenario import load
from simulated_bench.scenario_faults import UnitFaultTable
from simulated_bench.scpi.device import Device
from simulated_bench.world import World


class Table:
    """The full table, its supply at 30 V."""

    def __init__(self, current: float = 0.0) -> None:
        scenario = load("full-table")
        self.world = World(scenario, 1)
        tables = read_tables(scenario.instruments, "full-table")
        self.placed = place(self.world, tables, 1, scenario.faults)
        self("supply", "VOLT 30;CURR MAX;:OUTP ON")
        self("load", f"CURR {current};:INP {int(current > 0.0)}")
        self("clock", "CLOC:ADV 5")

    def __call__(self, name: str, message: str) -> str:
        return ask(self.device(name), message)

    def number(self, name: str, message: str) -> float:
        return float(self(name, message))

    def device(self, name: str) -> Device:
        return self.placed[name].device


def test_shipped_instruments_come_first_and_control_last() -> None:
    names = list(read_tables(load("full-table").instruments, "full-table"))
    assert names[: len(SHIPPED)] == list(SHIPPED)
    assert names[-1] == "control"
    assert len(names) == len(SHIPPED) + 11
    assert list(read_tables(load("healthy").instruments, "healthy")) == list(SHIPPED)


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        ({"scope": {}}, "instruments.scope: found an unknown instrument"),
        ({"scope": {"kind": "telescope"}}, "instruments.scope: found an unknown instrument"),
        ({"Meter": {"kind": "voltmeter", "place": "load"}}, "small letters"),
        ({"meter": {"kind": "voltmeter"}}, "exactly one of place, behind"),
        ({"meter": {"kind": "voltmeter", "behind": "scanner"}}, "expected a scanner"),
        ({"load": {"kind": "load"}}, "instruments.load.kind"),
        ({"room": {"kind": "panel"}}, "instruments.room"),
        ({"switch": {"ohms": [0.0]}}, "above 0"),
    ],
)
def test_what_cannot_stand_on_the_table_is_refused(
    raw: dict[str, dict[str, object]], said: str
) -> None:
    with pytest.raises(ScenarioError, match=said):
        read_tables(raw, "test")


def test_a_unit_with_knobs_has_no_remote_supply() -> None:
    world = StandInWorld()
    world.programmable = False
    with pytest.raises(ScenarioError, match="knobs"):
        table_top(world, supply={})


def test_a_remote_supply_sets_reads_back_and_says_which_loop_has_the_say() -> None:
    table = Table(current=2.0)
    assert table.number("supply", "MEAS:VOLT?") == pytest.approx(30.0, abs=0.05 + 0.08)
    assert table.number("supply", "MEAS:CURR?") == pytest.approx(2.0, abs=0.02)
    assert table("supply", "OUTP:MODE?;:STAT:OPER:COND?") == "CV;256"
    table("supply", "CURR 1")
    assert table("supply", "OUTP:MODE?") == "CC"
    table("clock", "CLOC:ADV 0.1")
    assert table("supply", "STAT:OPER:COND?") == "1024"
    table("supply", "OUTP OFF;VOLT 31")
    assert error(table.device("supply")) == -222
    assert table("supply", "OUTP?;OUTP:MODE?") == "0;OFF"
    assert table.number("supply", "VOLT? MAX") == 30.5


def test_the_supply_s_over_voltage_protection_trips_and_latches() -> None:
    world = StandInWorld()
    supply = table_top(world, supply={})["supply"].device
    ask(supply, "VOLT 30;:OUTP ON")
    world.volts = 25.0
    ask(supply, "VOLT:PROT 28")
    assert ask(supply, "OUTP?") == "1"
    world.volts = 30.0
    ask(supply, "CURR 1")
    assert ask(supply, "OUTP?;:VOLT:PROT:TRIP?") == "0;1"
    assert world.programmed == (30.0, 1.0, False)
    assert error(supply) == -300
    ask(supply, "OUTP ON")
    assert error(supply) == -221
    ask(supply, "VOLT:PROT MAX;PROT:CLE;:OUTP ON")
    assert ask(supply, "OUTP?") == "1"


def test_a_line_source_feeds_the_unit() -> None:
    table = Table(current=3.0)
    assert table.number("line_source", "MEAS:VOLT?") == pytest.approx(230.0, rel=0.005)
    regulated = table.number("voltmeter_sense", "READ?")
    table("line_source", "VOLT 185;FREQ 60")
    table("clock", "CLOC:ADV 1")
    assert table.number("line_source", "MEAS:FREQ?") == 60.0
    assert table.world.line()[0] == pytest.approx(185.0, rel=0.002)
    assert table.number("voltmeter_sense", "READ?") < regulated - 0.1  # in dropout
    table("line_source", "OUTP OFF")
    table("clock", "CLOC:ADV 20")
    assert table.number("line_source", "MEAS:VOLT?") < 0.1
    assert table.number("voltmeter_sense", "READ?") < 1.0
    table("line_source", "VOLT 300")
    assert error(table.device("line_source")) == -222


def test_what_the_network_does_does_not_pass_a_line_source_but_its_failure_does() -> None:
    table = Table()
    before = table.world.line()[0]
    for what, by in (("line sag", 0.2), ("line failure", None)):
        more = {} if by is None else {"by": "20 %"}
        fault = {"what": what, "at": "0 s", "lasts": "1 min", **more}
        table.world.strike(UnitFaultTable.model_validate(fault).dated(table.world.now))
        assert table.world.line()[0] == (before if by else 0.0)


def test_an_ammeter_sees_the_current_of_load_and_resistors() -> None:
    table = Table(current=2.0)
    current = table.number("ammeter", "MEAS:CURR? 4")
    assert current == pytest.approx(table.world.current(), abs=4e-4 + 2e-4 + 1e-4)
    assert table("ammeter", "CONF?") == '"CURR:DC 4"'
    table("ammeter", "CURR:RANG 0.4")
    assert table("ammeter", "READ?") == "9.9E+37"
    table("ammeter", "CURR:RANG 10 V")
    assert error(table.device("ammeter")) == -131


def test_a_switch_takes_the_current_that_a_load_cannot() -> None:
    table = Table(current=1.0)
    table("switch", "ROUT:CLOS (@102)")
    assert table("switch", "ROUT:CLOS? (@101:103)") == "0,1,0"
    assert table.number("switch", "ROUT:RES? (@102)") == 20.0
    total = table.number("ammeter", "MEAS:CURR?")
    assert total == pytest.approx(1.0 + 30.0 / 20.0, rel=0.02)
    assert table.number("load", "MEAS:CURR?") == pytest.approx(1.0, abs=0.02)
    table("load", "INP OFF")
    assert table.number("ammeter", "READ?") == pytest.approx(1.5, rel=0.02)
    table("switch", "*RST")
    assert table.number("ammeter", "READ?") == pytest.approx(0.0, abs=1e-3)
    table("switch", "ROUT:CLOS (@104)")
    assert error(table.device("switch")) == -222


def test_resistors_empty_the_output_when_it_is_off() -> None:
    table = Table()
    table("switch", "ROUT:CLOS (@101)")
    table("supply", "OUTP OFF")
    table("clock", "CLOC:ADV 0.1")  # 10 Ω times 470 µF: twenty time constants
    assert table.number("voltmeter_sense", "READ?") < 0.01


def test_one_meter_behind_a_scanner_sees_the_point_that_is_closed() -> None:
    table = Table(current=3.0)

    def seen(channel: int) -> float:
        table("scanner", f"ROUT:CLOS (@{channel})")
        return table.number("voltmeter_scanned", "READ?")

    for channel, place_ in ((101, "sense"), (102, "load"), (104, "terminals")):
        assert seen(channel) == pytest.approx(table.world.voltage(place_), abs=2e-3)
    assert table("scanner", "ROUT:CLOS:STAT?;:ROUT:POIN? (@104)") == '(@104);"terminals"'
    table("scanner", "ROUT:OPEN:ALL")
    assert abs(table.number("voltmeter_scanned", "READ?")) < 0.1
    table("scanner", "ROUT:CLOS (@101,102)")
    assert error(table.device("scanner")) == -221
    table("scanner", "ROUT:SCAN (@102,101)")
    assert [table("scanner", "ROUT:SCAN:NEXT?") for _ in range(3)] == ["102", "101", "102"]


def test_relays_take_their_time() -> None:
    table = Table()
    table("scanner", "ROUT:OPEN:ALL")
    before = table.world.now
    table("scanner", "ROUT:CLOS (@101)")
    assert table.world.now - before == pytest.approx(0.015)


def test_a_channel_meter_answers_four_channels_in_one_query_and_the_time_of_one() -> None:
    table = Table(current=3.0)
    table("clock", "CLOC:TIME?")
    before = table.world.now
    answer = table("channel_meter", "MEAS:VOLT:DC? (@101:104)")
    seen = [float(number) for number in answer.split(",")]
    places = ("sense", "load", "shunt", "terminals")
    true = [table.world.voltage(place_) for place_ in places]
    assert seen == pytest.approx(true, abs=2e-3)
    assert seen[2] == pytest.approx(true[2], abs=20e-6)  # on its own small range
    assert table.number("clock", "CLOC:TIME?") - before == pytest.approx(0.11)
    assert table("channel_meter", "MEAS:VOLT? 10,(@101)") == "9.9E+37"
    table("channel_meter", "VOLT:RANG 400,(@102);RANG? (@101,102)")
    assert table("channel_meter", "VOLT:RANG? (@101,102)") == "+1.000000000E+01,+4.000000000E+02"
    for message, number in (
        ("MEAS:VOLT? (@105)", -222),
        ("MEAS:VOLT? 10", -109),
        ("MEAS:VOLT? (@101),(@102)", -108),
        ("ROUT:SCAN (@101);:FETC?", -230),
    ):
        table("channel_meter", message)
        assert error(table.device("channel_meter")) == number


def test_channels_one_by_one_add_up() -> None:
    world = StandInWorld()
    top = table_top(world, channel_meter={"traits": ["one by one"]})
    ask(top["channel_meter"].device, "READ?")
    assert float(ask(top["clock"].device, "CLOC:TIME?")) == pytest.approx(4 * (0.11 + 0.015))


def test_a_channel_meter_takes_many_rounds_for_one_start() -> None:
    table = Table(current=3.0)
    table("channel_meter", "ROUT:SCAN (@101,103);:VOLT:APER 0.99;:SAMP:COUN 60")
    before = table.number("clock", "CLOC:TIME?")
    answer = [float(text) for text in table("channel_meter", "READ?").split(",")]
    assert len(answer) == 120
    assert answer[::2] == pytest.approx([30.0] * 60, abs=0.1)
    assert answer[1::2] == pytest.approx([0.03] * 60, rel=0.01)
    assert table.number("clock", "CLOC:TIME?") - before == pytest.approx(60.0)


def test_inputs_show_what_is_raised_and_latch_what_was() -> None:
    table = Table()
    assert table("inputs", "INP?;:INP:NAME? (@1,3)") == '0,0,0,0;"smoke","emergency stop"'
    table("control", "FAUL:ADD \"what = 'smoke', at = '10 s', lasts = '5 s'\"")
    table("clock", "CLOC:UNT? 12")
    assert table("inputs", "INP?;:STAT:QUES:COND?") == "1,0,0,0;1"
    table("clock", "CLOC:UNT? 20")
    assert table("inputs", "INP?;:INP:EVEN?") == "0,0,0,0;1,0,0,0"
    assert table("inputs", "INP:EVEN?;:STAT:QUES:COND?") == "0,0,0,0;0"
    table("inputs", "INP? (@5)")
    assert error(table.device("inputs")) == -222


@pytest.mark.parametrize("begins", ["at = '10 s'", "at = '0 s'"])
def test_an_alarm_between_two_questions_is_latched(begins: str) -> None:
    table = Table()
    assert table("inputs", "INP:EVEN?") == "0,0,0,0"
    table("control", f"FAUL:ADD \"what = 'smoke', {begins}, lasts = '0.3 s'\"")
    table("clock", "CLOC:UNT? 20")
    assert table("inputs", "INP?") == "0,0,0,0"
    assert table("inputs", "INP:EVEN? (@1)") == "1"
    assert table("inputs", "INP:EVEN? (@1)") == "0"


def test_panel_meters_are_read_by_a_port_and_by_the_person() -> None:
    table = Table(current=2.0)
    volts = table.number("panel", "MEAS:VOLT?")
    assert volts == pytest.approx(30.0, abs=0.45 + 0.2 + 0.05)
    assert volts / 0.1 == pytest.approx(round(volts / 0.1))
    assert table.number("person", "OPER:READ? VOLT") == pytest.approx(volts)
    amperes = table.number("person", "OPER:READ? CURR")
    assert amperes == table.number("panel", "MEAS:CURR?")
    before = table.world.now
    table("clock", "CLOC:TIME?")
    assert table.world.now - before > 1.0  # looking takes a person seconds


def test_an_oscilloscope_measures_ripple_as_the_physics_has_it() -> None:
    world = StandInWorld()
    world.ripple_v = 0.01
    scope = table_top(world, oscilloscope={"gain": "0 %", "offset": "0 %"})["oscilloscope"].device
    ask(scope, "INP1:COUP AC;:SENS1:VOLT:RANG 0.05;:INP1:FILT ON;:INP1:FILT:FREQ 20E3")
    assert float(ask(scope, "MEAS1:AC?")) == pytest.approx(0.01, rel=0.01)
    assert float(ask(scope, "FETC1:PTP?")) == pytest.approx(0.01 * 2 * np.sqrt(2), rel=0.02)
    ask(scope, "INP1:FILT:FREQ 100")  # the corner is where the ripple is
    assert float(ask(scope, "MEAS1:AC?")) == pytest.approx(0.01 / np.sqrt(2), rel=0.1)
    ask(scope, "SENS1:VOLT:RANG 0.01")
    ask(scope, "INP1:FILT OFF")
    assert ask(scope, "MEAS1:PTP?") == "9.9E+37"  # off the screen
    assert ask(scope, "TRAC1:PRE?").endswith(",1")


def test_a_record_can_be_rebuilt_from_codes_and_preamble() -> None:
    table = Table(current=2.0)
    table("oscilloscope", "SWE:POIN 100;TIME 0.02;:INIT")
    volts = [float(text) for text in table("oscilloscope", "TRAC1?").split(",")]
    codes = table("oscilloscope", "FORM INT;:TRAC1?").split(",")
    count, period_s, start_s, step_v, middle_v, clipped = map(
        float, table("oscilloscope", "TRAC1:PRE?").split(",")
    )
    assert (count, period_s, start_s, clipped) == (100, 2e-4, 0.0, 0)
    assert [int(code) * step_v + middle_v for code in codes] == pytest.approx(volts)
    assert np.mean(volts) == pytest.approx(30.0, abs=0.02 * 30 + 0.01 * 40 + 0.1)
    assert table("oscilloscope", "INP3:POIN?") == '"shunt"'
    table("oscilloscope", "TRAC9?")
    assert error(table.device("oscilloscope")) == -114


def test_a_load_step_triggers_and_its_dip_is_in_the_record() -> None:
    table = Table(current=1.5)
    table("oscilloscope", "TRIG:SOUR INT;:SWE:TIME 2E-3;POIN 4000;OFFS:TIME -5E-5")
    table("oscilloscope", "INP1:COUP AC;:SENS1:VOLT:RANG 0.2;:INIT")
    table("oscilloscope", "TRAC1?")
    assert error(table.device("oscilloscope")) == -230
    table("load", "CURR 3")
    volts = np.array([float(text) for text in table("oscilloscope", "TRAC1?").split(",")])
    dip = np.mean(volts[:90]) - np.min(volts)
    assert 0.03 < dip < 0.09  # 1.5 A over 40 mΩ ± 20 %
    assert np.argmin(volts) > 90
    table("load", "CURR 1")
    assert table.number("oscilloscope", "FETC1:PTP?") == pytest.approx(np.ptp(volts), rel=0.01)


def test_every_instrument_of_the_full_table_survives_a_reset_and_nonsense() -> None:
    table = Table()
    for name in table.placed:
        table(name, "*RST;*CLS")
        table(name, "NOTH:ING")
        assert error(table.device(name)) == -113
        assert table(name, "*IDN?").startswith("WORKSHOP,")
