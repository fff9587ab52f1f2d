"""Instruments over a pseudo-terminal, as clients of serial ports meet them."""

import json
import os
import select
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
import pyvisa
from hypothesis import given, settings
from hypothesis import strategies as st
from scpi_stand_in import StandInWorld

from simulated_bench.connection import LONGEST_LINE
from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import place
from simulated_bench.server import Server

METER = "voltmeter_sense"


@pytest.fixture
def path() -> Iterator[str]:
    fault = {"instrument": METER, "what": "no answer", "after_queries": 2}
    with served(fault) as address:
        yield address.removeprefix("ASRL").removesuffix("::INSTR")


@contextmanager
def served(*faults: dict[str, object]) -> Iterator[str]:
    placed = place(StandInWorld(), read_tables({}, "test"), 1, faults)
    server = Server(placed, "127.0.0.1", 0, serial=[METER])
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield server.serial_addresses()[METER]
    finally:
        server.stop()
        far = os.open(server.serial_addresses()[METER].split("::")[0][4:], os.O_RDWR | os.O_NOCTTY)
        os.write(far, b"\n")
        thread.join(5)
        os.close(far)
        server.close()


def ask(far: int, message: bytes, patience_s: float = 5.0) -> bytes:
    os.write(far, message)
    data = b""
    while not data.endswith(b"\n"):
        if not select.select([far], [], [], patience_s)[0]:
            break
        data += os.read(far, 4096)
    return data


def opened(path: str) -> int:
    return os.open(path, os.O_RDWR | os.O_NOCTTY)


def test_the_line_lives_on_when_clients_close_it(path: str) -> None:
    for _ in range(3):
        far = opened(path)
        os.write(far, b"*ESE 17\n")
        os.close(far)
    far = opened(path)
    assert ask(far, b"*ESE?\n") == b"17\n"
    os.close(far)


def test_bytes_go_through_as_they_are(path: str) -> None:
    far = opened(path)
    assert ask(far, b"*IDN?\r\n") == b"WORKSHOP,VOLTMETER-SENSE,SIM0002,1.0\n"
    assert not select.select([far], [], [], 0.1)[0], "the line echoes"
    os.close(far)


def test_faults_reach_the_serial_port_too(path: str) -> None:
    far = opened(path)
    assert [ask(far, b"*OPC?\n", 0.3) for _ in range(4)] == [b"1\n", b"1\n", b"", b"1\n"]
    os.close(far)


def test_a_line_too_long_is_thrown_away_and_the_port_stays(path: str) -> None:
    far = opened(path)
    block = b"x" * 4000
    for _ in range(LONGEST_LINE // len(block) + 2):
        os.write(far, block)
    assert ask(far, b"\n", 0.2) == b""
    numbers = ask(far, b"SYST:ERR?;*CLS\n")
    assert numbers.startswith(b"-363,")
    assert ask(far, b"*OPC?\n") == b"1\n"
    os.close(far)


@pytest.fixture(scope="module")
def shared_path() -> Iterator[str]:
    with served() as address:
        yield address.removeprefix("ASRL").removesuffix("::INSTR")


@settings(max_examples=50)
@given(st.lists(st.binary(max_size=300), max_size=5))
def test_junk_never_ends_the_line(shared_path: str, junk: list[bytes]) -> None:
    far = os.open(shared_path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    try:
        for block in junk:
            os.write(far, block)
        os.write(far, b"\n*CLS;*ESE 91;*ESE?\n")
        data = b""
        while not data.endswith(b"91\n"):
            assert select.select([far], [], [], 5.0)[0], "no answer any more"
            data += os.read(far, 65536)
    finally:
        os.close(far)


def test_pyserial_asks_and_is_answered(path: str) -> None:
    serial = pytest.importorskip("serial")
    with serial.Serial(path, 9600, timeout=5) as port:
        port.write(b"VOLT:RANG 10;RANG?\n")
        assert float(port.readline()) == 10.0
    with serial.Serial(path, 115200, timeout=5) as port:
        port.write(b"*OPC?\n")
        assert port.readline() == b"1\n"


def test_a_visa_session_over_serial_asks_and_is_answered() -> None:
    pytest.importorskip("serial")
    with served() as address:
        session = pyvisa.ResourceManager("@py").open_resource(
            address, read_termination="\n", write_termination="\n", timeout=5000
        )
        try:
            assert session.query("*IDN?").startswith("WORKSHOP,VOLTMETER-SENSE")
            assert float(session.query("READ?")) == pytest.approx(30.0, abs=0.01)
        finally:
            session.close()


def test_the_program_names_its_serial_ports() -> None:
    words = [sys.executable, "-m", "simulated_bench", "serve", "--until-stdin-closes"]
    with subprocess.Popen(
        [*words, "--pty", METER, "--pty", "load"], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stdin is not None
        said = json.loads(process.stdout.readline())
        assert list(said["serial"]) == [METER, "load"]
        far = opened(said["serial"]["load"].removeprefix("ASRL").removesuffix("::INSTR"))
        assert ask(far, b"*IDN?\n").startswith(b"WORKSHOP,LOAD")
        os.close(far)
        process.stdin.close()
        assert process.wait(10) == 0


def test_an_unknown_name_is_explained() -> None:
    words = [sys.executable, "-m", "simulated_bench", "serve", "--pty", "scope"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert "found scope" in done.stderr
    assert "Traceback" not in done.stderr
