"""The shipped dialects: at least four of a load and of a meter, each spoken over its scenario."""

import pytest
from faulty_bench import faulty_bench
from scpi_stand_in import StandInWorld

from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import Placed, place
from simulated_bench.scenario import load

METERS = {
    "standard": ("healthy", "voltmeter_sense"),
    "line cycles, CR LF": ("dialects", "voltmeter_sense"),
    "unit suffix, remote lock": ("dialects", "voltmeter_load"),
    "free running": ("dialects", "voltmeter_shunt"),
    "console": ("dialects", "voltmeter_terminals"),
}
LOADS = ("healthy", "dialects", *(
    f"dialect-load-{way}" for way in ("mode-words", "short-modes", "locked", "console")
))  # fmt: skip
"""One dialect of a load each."""


class Spoken:
    """One instrument of a scenario on a world with known values."""

    def __init__(self, scenario: str, name: str) -> None:
        self.world = StandInWorld()
        document = load(scenario)
        tables = read_tables(document.instruments, scenario)
        self.placed: Placed = place(self.world, tables, 1)[name]

    def __call__(self, message: str) -> bytes:
        return self.placed.answer(message.encode())


@pytest.mark.parametrize(
    ("dialect", "messages", "answer"),
    [
        ("standard", ["VOLT:RANG 40;APER 0.2"], b"VOLT:APER? +2.000000000E-01\n"),
        ("line cycles, CR LF", ["VOLT:NPLC 10"], b"VOLT:NPLC? +1.000000000E+01\r\n"),
        ("unit suffix, remote lock", ["SYST:REM", "CONF 1"], b"VOLT:RANG? +1.000000000E+00V\n"),
        ("free running", ["VOLT:RANG 0.1"], b"DATA? +0.000000000E+00\n"),
        ("console", ["VOLT:RANG 10"], b"VOLT:RANG? VOLT:RANG?\n+1.000000000E+01\n"),
    ],
)  # fmt: skip
def test_each_meter_speaks_its_own_way(dialect: str, messages: list[str], answer: bytes) -> None:
    meter = Spoken(*METERS[dialect])
    for message in messages:
        meter(message)
    question, _, wanted = answer.partition(b" ")
    if dialect == "free running":  # its true zero, with its own error
        assert abs(float(meter(question.decode()))) < 20e-6
    else:
        assert meter(question.decode()) == wanted
    own = {"line cycles, CR LF": "VOLT:APER 1", "free running": "READ?", "console": "SYST:ERR?"}
    if dialect in own:  # what the standard's tree has and this one has not
        meter("*CLS")
        meter(own[dialect])
        assert int(meter("*ESR?").split()[-1]) & 32


@pytest.mark.parametrize(
    ("scenario", "sets", "asks", "answer"),
    [
        ("healthy", ["FUNC CURR", "CURR 2", "INP 1"], "FUNC?;:INP?", b"CURR;1\n"),
        ("dialects", ["MODE CC", "CURR:STAT:L1 2", "LOAD ON"], "MODE?;:LOAD?", b"CC;ON\r\n"),
        (LOADS[2], ["MODE CURR", "CURR 2", "INP ON"], "MODE?;:INP?", b"CURRENT;ON\n"),
        (LOADS[3], ["LOAD:MODE CC", "LOAD:CURR 2", "OUTP 1"], "LOAD:MODE?;:OUTP?", b"CC;1\r\n"),
        (LOADS[4], ["SYST:REM", "CURR 2", "INP 1"], "INP?", b"1\n"),
        (LOADS[5], ["CURR 2", "INP 1"], "CURR?", b"CURR?\r\n+2.000000000E+00A\r\n"),
    ],
)
def test_each_load_speaks_its_own_way(
    scenario: str, sets: list[str], asks: str, answer: bytes
) -> None:
    spoken = Spoken(scenario, "load")
    for message in sets:
        spoken(message)
    mode, level, on = spoken.world.load
    assert (mode, on) == ("current", True)
    assert level == pytest.approx(2.0, rel=0.01)
    assert spoken(asks) == answer


def test_a_load_that_is_locked_does_nothing_before_it_is_asked_for_remote_control() -> None:
    spoken = Spoken("dialect-load-locked", "load")
    spoken("CURR 2;:INP 1")
    assert spoken.world.load == ("current", 0.0, False)
    assert spoken("SYST:ERR?").startswith(b"-203,")
    assert spoken.placed.first_answer_s > 0.0


def test_one_client_at_a_time_where_the_dialect_says_so_and_several_elsewhere() -> None:
    raw = load("dialect-load-short-modes").instruments
    with faulty_bench(**raw) as bench:
        first, second = bench.client("voltmeter_sense"), bench.client("voltmeter_sense")
        assert first.ask("*OPC?") == second.ask("*OPC?") == "1"
        only = bench.client("load")
        assert only.ask("*OPC?") == "1\r"
        assert bench.client("load").closed()
        assert only.ask("*OPC?") == "1\r"
