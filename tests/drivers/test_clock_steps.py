"""The computer's clock steps while an instrument is waited for: no link ends early or waits on."""

import os
import pty
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from scpi_stand_in import StandInWorld
from served import serving
from stand_in import StandIn, late, silent

from drivers.errors import NoAnswer
from drivers.roles import InstrumentSpec
from drivers.session import Session
from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import place
from simulated_bench.server import Server

TIMEOUT_S = 0.6
LATE_S = 0.25
HOUR_S = 3600.0
IDENTITY = b"WORKSHOP,STAND-IN,SIM0001,1.0\n"


def answers(port: int) -> None:
    """Answer identities at once, "LATE?" after a while, and nothing else."""
    buffer = b""
    while True:
        try:
            buffer += os.read(port, 4096)
        except OSError:
            return
        *lines, buffer = buffer.split(b"\n")
        for line in lines:
            if line == b"*IDN?":
                os.write(port, IDENTITY)
            elif line == b"LATE?":
                time.sleep(LATE_S)
                os.write(port, b"1.5\n")


@contextmanager
def serial_line() -> Iterator[str]:
    port, far = pty.openpty()
    tty.setraw(far)
    threading.Thread(target=answers, args=(port,), daemon=True).start()
    yield f"ASRL{os.ttyname(far)}::INSTR"
    os.close(far)


@contextmanager
def raw_socket() -> Iterator[str]:
    with StandIn() as server:
        server.special = {"LATE?": late(LATE_S, b"1.5\n"), "SILENT?": silent}
        yield server.address


@contextmanager
def hislip() -> Iterator[str]:
    """Serve a voltmeter whose third answer is late, or stays away."""
    meter = "voltmeter_sense"
    fault = {"instrument": meter, "what": "late answer", "after_queries": 2, "count": 1}
    placed = place(StandInWorld(), read_tables({}, "test"), 1, ({**fault, "delay": f"{LATE_S} s"},))
    with serving(Server(placed, "127.0.0.1", 0, hislip=0)) as server:
        yield server.hislip_addresses()[meter]


ROADS = {"serial": serial_line, "socket": raw_socket, "hislip": hislip}


@pytest.fixture(params=ROADS)
def line(request: pytest.FixtureRequest) -> Iterator[Session]:
    with ROADS[request.param]() as address:
        session = Session(InstrumentSpec("m", "voltmeter", "x", address, timeout_s=TIMEOUT_S))
        session.query(b"*IDN?\n")
        yield session
        session.close()


@pytest.fixture(params=[HOUR_S, -HOUR_S], ids=["forward", "back"])
def stepped(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the wall clock jump by an hour at its second and every later reading."""
    real, asked = time.time, [0]

    def stepping() -> float:
        asked[0] += 1
        return real() + (request.param if asked[0] > 1 else 0.0) * asked[0]

    monkeypatch.setattr(time, "time", stepping)


@pytest.mark.usefixtures("stepped")
def test_an_answer_is_still_waited_for(line: Session) -> None:
    hislip = "hislip" in line.spec.address
    begun = time.monotonic()
    answer = line.query(b"SYSTem:VERSion?\n" if hislip else b"LATE?\n")
    assert answer == (b"1999.0" if hislip else b"1.5")
    assert time.monotonic() - begun >= LATE_S


@pytest.mark.usefixtures("stepped")
def test_silence_still_ends_in_time(line: Session) -> None:
    if "hislip" in line.spec.address:
        line.query(b"SYSTem:VERSion?\n")  # uses the late answer up; nothing answers a setting
    begun = time.monotonic()
    with pytest.raises(NoAnswer):
        line.query(b"*CLS\n" if "hislip" in line.spec.address else b"SILENT?\n")
    assert TIMEOUT_S <= time.monotonic() - begun < 10.0
