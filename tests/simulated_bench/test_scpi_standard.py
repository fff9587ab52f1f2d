"""Points of IEEE 488.2 and SCPI-1999, as written down from the documents (from memory of them)."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scpi_stand_in import ask, error, table_top

from simulated_bench.scpi.device import Device
from simulated_bench.scpi.errors import STANDARD


@pytest.fixture
def meter() -> Device:
    return table_top()["voltmeter_sense"].device


@pytest.fixture
def load() -> Device:
    return table_top()["load"].device


@pytest.mark.parametrize(
    "message",
    [
        "SENSe:VOLTage:DC:RANGe:UPPer 10",
        "sens:volt:dc:rang 10",
        "VOLT:RANG 10",
        ":Volt:Range:Upper 10 V",
        "VOLT:RANG 10E0",
        "VOLT:RANG 10000 mV",
        "VOLT:RANG .01KV",
        "VOLT:RANG 10\r",
        "  VOLT:RANG\t+10.0 ",
        "CONF:VOLT:DC 10",
        "CONF 10",
    ],
)
def test_every_spelling_of_a_setting_sets_it(meter: Device, message: str) -> None:
    assert ask(meter, message) == ""
    assert float(ask(meter, "VOLT:RANG?")) == 10.0
    assert error(meter) == 0


@pytest.mark.parametrize("spelling", ["SENSE", "SEN", "SENS1", "VOLTA"])
def test_neither_short_nor_long_form_is_undefined(meter: Device, spelling: str) -> None:
    ask(meter, f"{spelling}:VOLT:RANG 10" if spelling.startswith("S") else f"{spelling}:RANG 10")
    assert error(meter) == (0 if spelling == "SENSE" else -113)


def test_the_header_path_goes_on_after_a_semicolon(meter: Device) -> None:
    assert ask(meter, "SENS:VOLT:DC:RANG 10;APER 0.2;RANG?;APER?") == (
        "+1.000000000E+01;+2.000000000E-01"
    )
    assert error(meter) == 0


def test_a_leading_colon_returns_to_the_root(meter: Device) -> None:
    ask(meter, "SENS:VOLT:DC:RANG 10;SENS:VOLT:DC:APER 1")
    assert error(meter) == -113
    ask(meter, "SENS:VOLT:DC:RANG 10;:SENS:VOLT:DC:APER 1")
    assert error(meter) == 0


def test_common_commands_leave_the_path_alone(meter: Device) -> None:
    assert ask(meter, "SENS:VOLT:DC:RANG 10;*ESR?;APER?").endswith("+1.000000000E-01")
    assert error(meter) == 0


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("NOTH:ING 1", -113),
        ("VOLT:RANG?;NOTH?", -113),
        ("VOLT:RANG", -109),
        ("VOLT:RANG 1,2", -108),
        ("*RST 1", -108),
        ("VOLT:RANG 'ten'", -104),
        ("VOLT:RANG TEN", -104),
        ("VOLT:RANG 10 A", -131),
        ("VOLT:APER 10 V", -131),
        ("*ESE 1 V", -138),
        ("VOLT:RANG 1000", -222),
        ("VOLT:APER 0", -222),
        ("*ESE 256", -222),
        ("VOLT:RANG 1E99999", -123),
        ("VOLT:RANG 1.2.3", -120),
        ("VOLT:RANG ,1", -102),
        ("VOLT:RANG?1", -102),
        ("VOLT::RANG 1", -102),
        ('VOLT:RANG "1', -151),
        ("VOLT:RANG (@1", -171),
        ("VOLT:RANG #11", -168),
        ("VOLTAGERANGES 1", -112),
        ("\xff\x00", -101),
        ("FETC?", -230),
    ],
)
def test_a_mistake_gets_its_standard_number(meter: Device, message: str, number: int) -> None:
    ask(meter, message)
    assert error(meter) == number
    assert error(meter) == 0


def test_bad_mnemonics_lists_and_conflicts_get_their_numbers(load: Device) -> None:
    ask(load, "FUNC NOTHING")
    assert error(load) == -141
    ask(load, "INP PERHAPS")
    assert error(load) == -141
    thermometer = table_top()["thermometer"].device
    ask(thermometer, "MEAS:TEMP? 101")
    assert error(thermometer) == -104
    ask(thermometer, "MEAS:TEMP? (101)")
    assert error(thermometer) == -171
    ask(thermometer, "MEAS:TEMP? (@1:99999999)")
    assert error(thermometer) == -223
    ask(thermometer, "MEAS:TEMP? (@103)")
    assert error(thermometer) == -222


def test_units_before_a_mistake_are_carried_out_and_those_after_it_are_not(meter: Device) -> None:
    ask(meter, "VOLT:RANG 10;NOTHING;:VOLT:APER 1")
    assert float(ask(meter, "VOLT:RANG?")) == 10.0
    assert float(ask(meter, "VOLT:APER?")) == 0.1


def test_the_queue_is_first_in_first_out_and_ends_in_no_error(meter: Device) -> None:
    ask(meter, "NOTHING")
    ask(meter, "VOLT:RANG 1000")
    assert (error(meter), error(meter)) == (-113, -222)
    assert ask(meter, "SYST:ERR:NEXT?") == '0,"No error"'


def test_the_last_entry_of_a_full_queue_becomes_350() -> None:
    meter = table_top(voltmeter_sense={"queue_length": 3})["voltmeter_sense"].device
    for _ in range(5):
        ask(meter, "NOTHING")
    assert ask(meter, "SYST:ERR:COUN?") == "3"
    assert [error(meter) for _ in range(4)] == [-113, -113, -350, 0]


@pytest.mark.parametrize(("message", "bit"), [("NOTHING", 32), ("VOLT:RANG 1000", 16), ("*OPC", 1)])
def test_the_event_register_has_the_standard_bits(meter: Device, message: str, bit: int) -> None:
    assert ask(meter, "*ESR?") == "128"  # power on
    ask(meter, message)
    assert ask(meter, "*ESR?") == str(bit)
    assert ask(meter, "*ESR?") == "0"


def test_the_status_byte_sums_up_queue_events_and_the_master(meter: Device) -> None:
    ask(meter, "*CLS;*ESE 32;*SRE 32")
    assert ask(meter, "*STB?") == "0"
    ask(meter, "NOTHING")
    assert int(ask(meter, "*STB?")) == 4 + 32 + 64
    assert int(ask(meter, "*IDN?;*STB?").split(";")[1]) == 4 + 16 + 32 + 64
    ask(meter, "*CLS")
    assert ask(meter, "*STB?;*ESE?;*SRE?") == "0;32;32"


def test_common_questions_answer(meter: Device) -> None:
    assert ask(meter, "*IDN?").count(",") == 3
    assert ask(meter, "*TST?;*OPC?;:SYST:VERS?") == "0;1;1999.0"
    ask(meter, "*WAI;*RST")
    assert error(meter) == 0


def test_reset_leaves_enables_and_errors(meter: Device) -> None:
    ask(meter, "VOLT:RANG 1;*ESE 4;NOTHING")
    ask(meter, "*RST")
    assert ask(meter, "*ESE?") == "4"
    assert float(ask(meter, "VOLT:RANG?")) == 40.0
    assert error(meter) == -113


@pytest.mark.parametrize(("text", "value"), [("#HFF", 255), ("#Q17", 15), ("#B101", 5), ("3.6", 4)])
def test_integers_come_in_every_base_and_are_rounded(meter: Device, text: str, value: int) -> None:
    ask(meter, f"*ESE {text}")
    assert ask(meter, "*ESE?") == str(value)


def test_minimum_maximum_and_default_are_words_of_a_number(meter: Device) -> None:
    ask(meter, "VOLT:RANG MAX")
    assert float(ask(meter, "VOLT:RANG?")) == 400.0
    ask(meter, "VOLT:RANG MINimum")
    assert float(ask(meter, "VOLT:RANG?")) == 0.1
    ask(meter, "VOLT:RANG DEF")
    assert float(ask(meter, "VOLT:RANG?")) == 40.0
    assert float(ask(meter, "VOLT:APER? MIN")) == 1e-3


@pytest.mark.parametrize(("text", "on"), [("ON", "1"), ("off", "0"), ("1", "1"), ("0.4", "0")])
def test_booleans_are_words_or_rounded_numbers(load: Device, text: str, on: str) -> None:
    ask(load, f"INP {text}")
    assert ask(load, "INP?") == on


def test_mega_is_meant_before_ohm_and_milli_elsewhere(load: Device) -> None:
    ask(load, "RES 0.001 MOHM")
    assert float(ask(load, "RES?")) == 1000.0
    ask(load, "CURR 500 MA")
    assert float(ask(load, "CURR?")) == 0.5


@pytest.mark.parametrize(
    ("wire", "heard"),
    [('"a;b, (c"', "a;b, (c"), ("'it''s'", "it's"), ('"say ""on"""', 'say "on"')],
)
def test_strings_keep_separators_and_double_their_quotes(wire: str, heard: str) -> None:
    from scpi_stand_in import StandInWorld  # noqa: PLC0415

    world = StandInWorld()
    person = table_top(world)["person"].device
    ask(person, f"OPER:INST {wire};FIN")
    assert error(person) == 0
    assert world.person.heard == [heard, "finish"]


HEADERS = (
    "VOLT:RANG",
    "*ESE",
    "MEAS",
    ":SENS",
    "OPER:INST",
    "CURR",
    "CLOC:UNT",
    ";",
    " ",
    "?",
    ",",
)
PIECES = st.one_of(
    st.sampled_from(HEADERS),
    st.text(max_size=8),
    st.floats().map(str),
    st.sampled_from("\"'()@#:*"),
)
DEVICES = {name: placed.device for name, placed in table_top().items()}


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(sorted(DEVICES)), st.lists(PIECES, max_size=12).map("".join))
def test_any_text_is_answered_or_leaves_a_standard_error(name: str, message: str) -> None:
    device = DEVICES[name]
    ask(device, "*CLS")
    answer = device.answer(message.encode("utf-8"))
    assert answer == b"" or (answer.endswith(b"\n") and answer.count(b"\n") == 1)
    while (number := error(device)) != 0:
        assert number in STANDARD


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes_leave_the_instrument_answering(junk: bytes) -> None:
    device = DEVICES["load"]
    device.answer(junk)
    assert ask(device, "*IDN?").startswith("WORKSHOP,LOAD,")
