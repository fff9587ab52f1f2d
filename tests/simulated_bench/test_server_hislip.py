"""Instruments over HiSLIP, through pyvisa-py, whose client shares no code with the server."""

import json
import select
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
import pyvisa
from pyvisa.constants import ResourceAttribute
from scpi_stand_in import StandInWorld
from served import serving

from simulated_bench.connection import LONGEST_LINE
from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import place
from simulated_bench.server import Server

METER = "voltmeter_sense"
Session = pyvisa.resources.MessageBasedResource


@contextmanager
def bench(*faults: dict[str, object], **raw: dict[str, object]) -> Iterator[dict[str, str]]:
    placed = place(StandInWorld(), read_tables(raw, "test"), 1, faults)
    with serving(Server(placed, "127.0.0.1", 0, hislip=0)) as server:
        yield server.hislip_addresses()


@contextmanager
def opened(address: str, timeout_ms: int = 5000) -> Iterator[Session]:
    session = pyvisa.ResourceManager("@py").open_resource(
        address, read_termination="\n", write_termination="\n", timeout=timeout_ms
    )
    assert isinstance(session, Session)
    try:
        yield session
    finally:
        session.close()


@pytest.fixture(scope="module")
def addresses() -> Iterator[dict[str, str]]:
    with bench(load={"clients": 1}) as found:
        yield found


QUESTIONS = {
    "clock": "CLOC:TIME?",
    "voltmeter_sense": "READ?",
    "voltmeter_load": "MEAS:VOLT:DC? 40",
    "voltmeter_shunt": "INIT;FETC?",
    "voltmeter_terminals": "READ?",
    "load": "FUNC RES;:RES 50;:RES?",
    "thermometer": "MEAS:TEMP? (@101)",
    "person": "OPER:STAT?",
}


def test_every_shipped_instrument_is_there(addresses: dict[str, str]) -> None:
    assert list(addresses) == list(QUESTIONS)


@pytest.mark.parametrize("name", QUESTIONS)
def test_a_whole_session_with_each_instrument(addresses: dict[str, str], name: str) -> None:
    with opened(addresses[name]) as session:
        model = session.query("*IDN?").split(",")[1]
        assert model == name.upper().replace("_", "-")
        session.write("*RST;*CLS")
        answer = session.query(QUESTIONS[name])
        assert answer.startswith("DONE") or float(answer) >= 0.0
        session.write("NO:SUCH")
        assert session.read_stb() & 4, "the error queue does not show in the status byte"
        assert session.query("SYST:ERR?").startswith("-113,")
        session.write("*ESE?")
        assert session.read_stb() & 16, "the answer does not show in the status byte"
        assert session.read() == "0"
        assert not session.read_stb() & 16
        session.clear()
        assert session.query("*OPC?") == "1"


def test_device_clear_throws_the_begun_message_and_the_late_answer_away() -> None:
    late = {"instrument": METER, "what": "late answer", "after_queries": 0, "delay": "0.5 s"}
    with bench(late) as found, opened(found[METER], 100) as session:
        session.write("*IDN?")
        with pytest.raises(pyvisa.VisaIOError):
            session.read()
        session.clear()
        time.sleep(0.6)
        session.timeout = 5000
        assert session.query("*ESE 17;*ESE?") == "17"


@pytest.mark.parametrize("kib", [1, 7, 1024])
def test_long_answers_come_whole_in_pieces_of_the_client_s_size(
    addresses: dict[str, str], kib: int
) -> None:
    with opened(addresses[METER]) as session:
        session.set_visa_attribute(ResourceAttribute.tcpip_hislip_max_message_kb, kib)
        identity = session.query("*IDN?")
        assert session.query(";".join(["*IDN?"] * 3000)) == ";".join([identity] * 3000)


def test_a_long_message_comes_whole_and_one_too_long_is_an_error(
    addresses: dict[str, str],
) -> None:
    with opened(addresses[METER]) as session:
        padded = "*ESE 5;" + " " * (LONGEST_LINE - 20) + "*ESE?"
        assert session.query(padded) == "5"
        session.write("*CLS;" + " " * (LONGEST_LINE + 10) + "*ESE 9")
        assert session.query("SYST:ERR?").startswith("-363,")
        assert session.query("*ESE?") == "5"


def test_several_clients_share_an_instrument_over_all_roads() -> None:
    placed = place(StandInWorld(), read_tables({METER: {"clients": 3}}, "test"), 1)
    with serving(Server(placed, "127.0.0.1", 0, hislip=0)) as server:
        hislip, raw = server.hislip_addresses()[METER], server.addresses()[METER]
        with opened(hislip) as one, opened(hislip) as two, opened(raw) as three:
            one.write("*ESE 12")
            assert [s.query("*ESE?") for s in (one, two, three)] == ["12"] * 3
            for _ in range(50):
                for session in (one, two, three):
                    session.write("*ESE?")
                assert [s.read() for s in (three, two, one)] == ["12"] * 3
            with pytest.raises(pyvisa.VisaIOError), opened(hislip):
                pass
        with opened(hislip) as again:
            assert again.query("*ESE?") == "12"


def test_a_late_answer_never_becomes_the_answer_to_the_next_question() -> None:
    late = {"instrument": METER, "what": "late answer", "after_queries": 0, "delay": "0.4 s"}
    with bench(late) as found, opened(found[METER], 100) as session:
        session.write("*IDN?")
        with pytest.raises(pyvisa.VisaIOError, match="VI_ERROR_TMO"):
            session.read()
        session.timeout = 5000
        assert session.query("*OPC?") == "1"  # the identity comes before it and is discarded
        assert session.query("*ESE 3;*ESE?") == "3"


def test_a_message_before_the_answer_was_fetched_is_a_query_error(
    addresses: dict[str, str],
) -> None:
    with opened(addresses[METER]) as session:
        session.write("*CLS")
        session.write("*IDN?")
        session.write("*ESE?")
        assert session.read().isdigit()
        assert session.query("SYST:ERR?").startswith("-410,")


def test_after_an_interruption_pyvisa_py_has_to_open_anew(addresses: dict[str, str]) -> None:
    with opened(addresses["clock"]) as session:
        session.write("*IDN?")
        session.write("*OPC?")
        assert session.read() == "1"
        with pytest.raises(RuntimeError, match="AsyncInterrupted"):
            session.read_stb()
    with opened(addresses["clock"]) as session:
        session.write("*IDN?")
        interface = session.visalib.sessions[session.session].interface
        assert select.select([interface._sync], [], [], 5.0)[0]
        with pytest.raises(RuntimeError, match="DeviceClearAcknowledge"):
            session.clear()  # the answer waits unread, and it does not look past it
    with opened(addresses["clock"]) as session:
        assert session.query("*CLS;*OPC?") == "1"


@pytest.mark.parametrize("what", ["closed connection", "refused reconnect"])
def test_a_connection_that_is_lost_is_an_error_at_once(what: str) -> None:
    fault = {"instrument": METER, "what": what, "after_queries": 1}
    with bench(fault) as found, opened(found[METER], 2000) as session:
        assert session.query("*OPC?") == "1"
        start = time.monotonic()
        with pytest.raises((RuntimeError, OSError)):
            session.query("*OPC?")
        assert time.monotonic() - start < 1.0
        if what == "closed connection":
            with opened(found[METER]) as again:
                assert again.query("*OPC?") == "1"
        else:
            with pytest.raises(pyvisa.VisaIOError), opened(found[METER]):
                pass


def test_a_slow_first_answer_is_awaited_without_blocking_others() -> None:
    slow = {"traits": ("slow first answer",), "first_answer": "0.3 s"}
    with (
        bench(voltmeter_load=slow) as found,
        opened(found["voltmeter_load"]) as late,
        opened(found[METER]) as quick,
    ):
        start = time.monotonic()
        late.write("*OPC?")
        assert quick.query("*OPC?") == "1"
        assert time.monotonic() - start < 0.25
        assert late.read() == "1"
        assert time.monotonic() - start > 0.25


def test_the_front_panel_s_lock_is_kept_over_hislip() -> None:
    with bench(load={"traits": ("remote lock",)}) as found, opened(found["load"]) as session:
        session.write("INP ON")
        assert session.query("SYST:ERR?").startswith("-203,")
        session.write("SYST:REM;:INP ON")
        assert session.query("INP?") == "1"


def test_the_program_names_its_hislip_servers() -> None:
    words = [sys.executable, "-m", "simulated_bench", "serve", "--until-stdin-closes"]
    with subprocess.Popen(
        [*words, "--hislip", "0", "--control"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        said = json.loads(process.stdout.readline())
        assert list(said["hislip"]) == list(said["instruments"])
        with opened(said["hislip"]["control"]) as session:
            assert session.query("*IDN?").startswith("WORKSHOP,CONTROL")
        process.stdin.close()
        assert process.wait(10) == 0
