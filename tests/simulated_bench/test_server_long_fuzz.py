"""Minutes of bad input against a served bench, half of it with faults under way.

Its own command; FUZZ_MINUTES (2) and FUZZ_SEED (1) from the environment::

    FUZZ_MINUTES=10 pytest tests/simulated_bench/test_server_long_fuzz.py -m slow -s
"""

import json
import os
import socket
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from numpy.random import Generator

pytestmark = [pytest.mark.slow, pytest.mark.timeout(0)]

MINUTES = float(os.environ.get("FUZZ_MINUTES", "2"))
SEED = int(os.environ.get("FUZZ_SEED", "1"))
MOST_GROWTH_KIB = 16 * 1024
"""Allowed after the first tenth: what is kept is bounded, and nothing else may grow."""

WORDS = (
    *("*IDN?", "*RST", "*CLS", "*OPC?", "*ESR?", "*STB?", "*ESE 255", "*SRE 1", "*WAI", "*TST?"),
    *("SYST:ERR?", "SYST:ERR:COUN?", "STAT:QUES?", "STAT:PRES", "SYST:VERS?"),
    *("READ?", "FETC?", "INIT", "MEAS:VOLT:DC?", "CONF:VOLT 10", "VOLT:RANG 1E1", "VOLT:APER 0.01"),
    *("FUNC CURR", "CURR 1.5", "CURR? MAX", "INP ON", "INP OFF", "MEAS:POW?", "RES 5 KOHM"),
    *("MEAS:TEMP? (@101,102)", "MEAS:TEMP? (@1:99999)", "CLOC:TIME?", "CLOC:ADV 0.1"),
    *('OPER:INST "Set the output voltage to 30 V."', "OPER:STAT?", "OPER:SHOW 1,1", "OPER:FIN"),
)
MARKS = b";:,?*#\"'(@) \t\r\n\x00\xff+-.eE0123456789ABCxyz"
FAULTS = ("no answer", "garbage", "half an answer", "closed connection", "overload", "reset")


def message(rng: Generator) -> bytes:
    parts = [WORDS[int(i)] for i in rng.integers(0, len(WORDS), int(rng.integers(1, 6)))]
    text = bytearray(";".join(parts).encode() + b"\n")
    for _ in range(int(rng.integers(0, 4)) if rng.random() < 0.7 else 0):
        at = int(rng.integers(0, len(text)))
        mark = MARKS[int(rng.integers(0, len(MARKS)))]
        match int(rng.integers(0, 4)):
            case 0:
                text[at] = mark
            case 1:
                text.insert(at, mark)
            case 2:
                del text[at : at + int(rng.integers(1, 5))]
            case _:
                text[at:at] = text[: int(rng.integers(0, len(text) + 1))]
        text = text or bytearray(b"\n")
    if rng.random() < 0.05:
        text += rng.integers(0, 256, int(rng.integers(1, 3000))).astype("uint8").tobytes()
    return bytes(text)


def visit(port: int, rng: Generator) -> None:
    """Connect, talk, perhaps listen, and leave in one of several rude ways."""
    with socket.create_connection(("127.0.0.1", port), timeout=0.01) as sock, suppress(OSError):
        for _ in range(int(rng.integers(0, 30))):
            data = message(rng)
            cut = int(rng.integers(0, len(data) + 1)) if rng.random() < 0.2 else len(data)
            sock.sendall(data[:cut])
            if rng.random() < 0.5:
                with suppress(TimeoutError):
                    sock.recv(65536)
        match int(rng.integers(0, 3)):
            case 0:  # RST in place of FIN
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
            case 1:
                sock.shutdown(socket.SHUT_WR)
            case _:
                pass


def answers(port: int) -> bool:
    with socket.create_connection(("127.0.0.1", port), timeout=30) as sock:
        sock.sendall(b"*CLS;*OPC?\n")
        return sock.recv(100) == b"1\n"


def resident_kib(pid: int) -> int:
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") >> 10


def test_minutes_of_bad_input_neither_end_nor_swell_the_server() -> None:
    rng = np.random.default_rng(SEED)
    words = [sys.executable, "-m", "simulated_bench", "serve", "--until-stdin-closes", "--control"]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as bench:
        assert bench.stdin is not None
        assert bench.stdout is not None
        where = json.loads(bench.stdout.readline())["instruments"]
        ports = {name: int(address.split("::")[2]) for name, address in where.items()}
        names = [name for name in ports if name != "control"]
        start, visits, early_kib = time.monotonic(), 0, 0
        while time.monotonic() - start < 60 * MINUTES:
            if visits % 200 == 0:
                with socket.create_connection(("127.0.0.1", ports["control"])) as control:
                    fault = FAULTS[int(rng.integers(0, len(FAULTS)))]
                    name = names[int(rng.integers(0, len(names)))]
                    entry = f"instrument = '{name}', what = '{fault}', probability = '20 %'"
                    control.sendall(f'FAUL:CLE;:FAUL:ADD "{entry}"\n'.encode())
                    if visits % 400 == 0:
                        control.sendall(b"FAUL:CLE\n")
            visit(ports[names[int(rng.integers(0, len(names)))]], rng)
            visits += 1
            if time.monotonic() - start < 6 * MINUTES:
                early_kib = resident_kib(bench.pid)
        late_kib = resident_kib(bench.pid)
        with socket.create_connection(("127.0.0.1", ports["control"])) as control:
            control.sendall(b"FAUL:CLE;*OPC?\n")
            assert control.recv(100) == b"1\n"
        assert all(answers(port) for port in ports.values())
        bench.stdin.close()
        assert bench.wait(30) == 0
    print(
        f"\n{visits} visits in {MINUTES:g} min; memory {early_kib} KiB early, {late_kib} KiB late"
    )
    assert late_kib - early_kib < MOST_GROWTH_KIB
