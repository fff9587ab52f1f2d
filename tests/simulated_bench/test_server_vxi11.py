"""Instruments over VXI-11, through pyvisa-py, whose client shares no code with the server."""

import json
import select
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest
import pyvisa
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
    with serving(Server(placed, "127.0.0.1", 0, vxi11=0)) as server:
        yield server.vxi11_addresses()


@contextmanager
def opened(address: str, timeout_ms: int = 5000) -> Iterator[Session]:
    session = pyvisa.ResourceManager("@py").open_resource(
        address, read_termination="\n", write_termination="\n", timeout=timeout_ms
    )
    assert isinstance(session, Session)
    try:
        yield session
    finally:
        interface = session.visalib.sessions[session.session].interface
        if hasattr(interface, "sock") and abandoned(
            interface.sock
        ):  # else taking leave of a closed link lasts five seconds
            interface.sock.close()
        with suppress(ValueError):
            session.close()


def abandoned(sock: socket.socket) -> bool:
    """Return whether the other end has closed."""
    if not select.select([sock], [], [], 0)[0]:
        return False
    try:
        return sock.recv(1, socket.MSG_PEEK) == b""
    except OSError:
        return True


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


@pytest.mark.parametrize("name", QUESTIONS)
def test_a_whole_session_with_each_instrument(addresses: dict[str, str], name: str) -> None:
    with opened(addresses[name]) as session:
        assert session.query("*IDN?").split(",")[1] == name.upper().replace("_", "-")
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
        session.assert_trigger()  # *TRG means nothing to these: an error, and the link goes on
        assert session.query("SYST:ERR?").startswith("-113,")


def test_device_clear_throws_the_begun_message_and_the_late_answer_away() -> None:
    late = {"instrument": METER, "what": "late answer", "after_queries": 0, "delay": "0.5 s"}
    with bench(late) as found, opened(found[METER], 100) as session:
        session.write("*IDN?")
        with pytest.raises(pyvisa.VisaIOError, match="VI_ERROR_TMO"):
            session.read()
        session.clear()
        time.sleep(0.6)
        session.timeout = 5000
        assert session.query("*ESE 17;*ESE?") == "17"


def test_long_answers_and_messages_come_whole_and_one_too_long_is_an_error(
    addresses: dict[str, str],
) -> None:
    with opened(addresses[METER]) as session:
        identity = session.query("*IDN?")
        for size, times in ((7, 3), (1000, 600), (20480, 3000)):
            whole = ";".join([identity] * times)
            # pyvisa-py asks once more after an answer that just fills its last piece.
            assert (len(whole) + 1) % size
            session.chunk_size = size
            assert session.query(";".join(["*IDN?"] * times)) == whole
        padded = "*ESE 5;" + " " * (LONGEST_LINE - 20) + "*ESE?"
        assert session.query(padded) == "5"
        session.write("*CLS;" + " " * (LONGEST_LINE + 10) + "*ESE 9")
        assert session.query("SYST:ERR?").startswith("-363,")
        assert session.query("*ESE?") == "5"


def test_a_message_before_the_answer_was_fetched_is_a_query_error(
    addresses: dict[str, str],
) -> None:
    with opened(addresses[METER]) as session:
        session.write("*CLS")
        session.write("*IDN?")
        session.write("*ESE?")
        assert session.read().isdigit()
        assert session.query("SYST:ERR?").startswith("-410,")


def test_several_clients_share_an_instrument_over_all_roads() -> None:
    placed = place(StandInWorld(), read_tables({METER: {"clients": 3}}, "test"), 1)
    with serving(Server(placed, "127.0.0.1", 0, hislip=0, vxi11=0)) as server:
        vxi11 = server.vxi11_addresses()[METER]
        roads = (vxi11, server.hislip_addresses()[METER], server.addresses()[METER])
        with opened(roads[0]) as one, opened(roads[1]) as two, opened(roads[2]) as three:
            one.write("*ESE 12")
            for _ in range(50):
                for session in (one, two, three):
                    session.write("*ESE?")
                assert [s.read() for s in (three, two, one)] == ["12"] * 3
            with pytest.raises(Exception, match="error creating link: 9"), opened(vxi11):
                pass
        with opened(vxi11) as again:
            assert again.query("*ESE?") == "12"


def test_a_late_answer_is_waited_for_and_not_longer_than_asked() -> None:
    late = {"instrument": METER, "what": "late answer", "after_queries": 1, "delay": "0.3 s"}
    with bench(late) as found, opened(found[METER], 2000) as session:
        identity = session.query("*IDN?")
        start = time.monotonic()
        assert session.query("*IDN?") == identity
        assert 0.25 < time.monotonic() - start < 1.5
        start = time.monotonic()
        session.timeout = 200
        with pytest.raises(pyvisa.VisaIOError, match="VI_ERROR_TMO"):
            session.read()
        assert 0.19 < time.monotonic() - start < 1.0


def test_half_an_answer_has_no_end_and_an_answer_that_is_lost_none_at_all() -> None:
    half = {"instrument": METER, "what": "half an answer", "after_queries": 0}
    lost = {"instrument": "load", "what": "no answer", "after_queries": 0}
    with bench(half, lost) as found:
        for name in (METER, "load"):
            with opened(found[name], 150) as session:
                session.write("*IDN?")
                with pytest.raises(pyvisa.VisaIOError, match="VI_ERROR_TMO"):
                    session.read()
            with opened(found[name]) as again:
                assert again.query("*OPC?") == "1"


@pytest.mark.parametrize("what", ["closed connection", "refused reconnect"])
def test_a_connection_that_is_lost_is_an_error(what: str) -> None:
    fault = {"instrument": METER, "what": what, "after_queries": 1}
    with bench(fault) as found, opened(found[METER], 300) as session:
        assert session.query("*OPC?") == "1"
        with pytest.raises((pyvisa.VisaIOError, OSError)):
            session.query("*OPC?")
        if what == "closed connection":
            with opened(found[METER]) as again:
                assert again.query("*OPC?") == "1"
        else:
            with pytest.raises(OSError, match="refused"), opened(found[METER]):
                pass


def test_garbage_comes_as_it_is_and_a_wrong_instrument_says_who_it_is() -> None:
    garbage = {"instrument": METER, "what": "garbage", "after_queries": 0}
    wrong = {
        "instrument": "load",
        "what": "wrong instrument",
        "after_queries": 1,
        "becomes": "person",
    }
    with bench(garbage, wrong) as found:
        with opened(found[METER]) as session:
            session.write("*IDN?")
            assert not session.read_raw().startswith(b"WORKSHOP")
            assert session.query("*OPC?") == "1"
        with opened(found["load"], 300) as session:
            assert ",LOAD," in session.query("*IDN?")
            with pytest.raises((pyvisa.VisaIOError, OSError)):
                session.query("*IDN?")
        with opened(found["load"]) as session:
            assert ",PERSON," in session.query("*IDN?")


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


def test_another_device_name_and_another_instrument_s_seat_are_refused(
    addresses: dict[str, str],
) -> None:
    other = addresses["load"].replace("inst0", "inst1")
    with pytest.raises(Exception, match="error creating link: 3"), opened(other):
        pass
    one_client = opened(addresses["load"])
    refused = pytest.raises(Exception, match="error creating link: 9")
    with one_client, refused, opened(addresses["load"]):
        pass
    with opened(addresses["load"]) as session:
        assert session.query("*OPC?") == "1"


def test_the_program_names_its_vxi11_servers() -> None:
    words = [sys.executable, "-m", "simulated_bench", "serve", "--until-stdin-closes"]
    with subprocess.Popen(
        [*words, "--vxi11", "0", "--control"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        said = json.loads(process.stdout.readline())
        assert list(said["vxi11"]) == list(said["instruments"])
        with opened(said["vxi11"]["control"]) as session:
            assert session.query("*IDN?").startswith("WORKSHOP,CONTROL")
        process.stdin.close()
        assert process.wait(10) == 0
