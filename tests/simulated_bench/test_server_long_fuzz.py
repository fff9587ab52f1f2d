"""Minutes of bad input against a served bench on all its roads, half of it with faults under way.

Its own command; FUZZ_MINUTES (2) and FUZZ_SEED (1) from the environment::

    FUZZ_MINUTES=10 pytest tests/simulated_bench/test_server_long_fuzz.py -m slow -s
"""

import os
import socket
import struct
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial

import numpy as np
import pytest
from numpy.random import Generator
from rude import Served, ask, called, hislip_session, said, served, vxi11_link, written

pytestmark = [pytest.mark.slow, pytest.mark.timeout(0)]

MINUTES = float(os.environ.get("FUZZ_MINUTES", "2"))
SEED = int(os.environ.get("FUZZ_SEED", "1"))
MOST_GROWTH_KIB = 16 * 1024
"""Allowed after the first tenth: what is kept is bounded, and nothing else may grow."""

WORDS = (
    *("*IDN?", "*RST", "*CLS", "*OPC?", "*ESR?", "*STB?", "*ESE 255", "*SRE 1", "*WAI", "*TST?"),
    *("SYST:ERR?", "SYST:ERR:COUN?", "STAT:QUES?", "STAT:PRES", "SYST:VERS?"),
    *(
        "SAMP:COUN 3",
        "SAMP:COUN?",
        "READ?",
        "FETC?",
        "INIT",
        "MEAS:VOLT:DC?",
        "CONF:VOLT 10",
        "VOLT:RANG 1E1",
        "VOLT:APER 0.01",
    ),
    *("FUNC CURR", "CURR 1.5", "CURR? MAX", "INP ON", "INP OFF", "MEAS:POW?", "RES 5 KOHM"),
    *("MEAS:TEMP? (@101,102)", "MEAS:TEMP? (@1:99999)", "CLOC:TIME?", "CLOC:ADV 0.1"),
    *('OPER:INST "Set the output voltage to 30 V."', "OPER:STAT?", "OPER:SHOW 1,1", "OPER:FIN"),
)
MARKS = b";:,?*#\"'(@) \t\r\n\x00\xff+-.eE0123456789ABCxyz"
SERIAL = "voltmeter_terminals"
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


def data(rng: Generator) -> bytes:
    """Return a message, sometimes only its beginning."""
    whole = message(rng)
    return whole[: int(rng.integers(0, len(whole) + 1))] if rng.random() < 0.2 else whole


def packet(rng: Generator) -> bytes:
    """Return a HiSLIP message that may be wrong in any of its parts."""
    kind = 7 if rng.random() < 0.6 else int(rng.integers(0, 256))
    control = int(rng.integers(0, 2 if rng.random() < 0.9 else 256))
    sound = said(kind, control, int(rng.integers(0, 2**32)), data(rng))
    if rng.random() < 0.05:
        at = int(rng.integers(0, 16))
        sound = sound[:at] + bytes([int(rng.integers(0, 256))]) + sound[at + 1 :]
    return sound


def call(rng: Generator, link: int) -> bytes:
    """Return a remote procedure call that may be wrong in any of its parts."""
    if rng.random() < 0.6:
        sound = written(int(rng.integers(0, 2**32)), link, data(rng))
    else:
        procedure = int(rng.integers(0, 28))
        arguments = np.array([link, *rng.integers(0, 3000, 6)], ">u4").tobytes()
        sound = called(int(rng.integers(0, 2**32)), procedure, arguments)
    if rng.random() < 0.05:
        at = int(rng.integers(0, len(sound)))
        sound = sound[:at] + bytes([int(rng.integers(0, 256))]) + sound[at + 1 :]
    return sound


def talk(sock: socket.socket, rng: Generator, speak: Callable[[Generator], bytes]) -> None:
    """Talk, perhaps listen, and leave in one of several rude ways."""
    sock.settimeout(0.01)
    with suppress(OSError):
        for _ in range(int(rng.integers(0, 30))):
            sock.sendall(speak(rng))
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


def scribble(path: str, rng: Generator) -> None:
    """Write into a serial line, and leave the answers there or take some."""
    far = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    with suppress(BlockingIOError):
        for _ in range(int(rng.integers(0, 30))):
            os.write(far, data(rng))
            if rng.random() < 0.3:
                os.read(far, 65536)
    os.close(far)


def visit(bench: Served, name: str, rng: Generator) -> None:
    road = rng.random()
    if road < 0.1:
        scribble(bench.serial[SERIAL], rng)
    elif road < 0.3:
        with suppress(OSError, struct.error), vxi11_link(bench.vxi11[name]) as (sock, link):
            talk(sock, rng, partial(call, link=link))
    elif road < 0.5:
        with suppress(OSError), hislip_session(bench.hislip[name]) as (sync, aside):
            talk(aside, rng, packet) if rng.random() < 0.2 else talk(sync, rng, packet)
    else:
        port = bench.raw[name]
        if road < 0.6:
            port = bench.hislip[name] if road < 0.55 else bench.vxi11[name]
        with (
            suppress(OSError),
            socket.create_connection(("127.0.0.1", port), timeout=1) as sock,
        ):
            talk(sock, rng, data)


def upset(bench: Served, name: str, rng: Generator) -> None:
    """Let an instrument have another fault from now on, or none any more."""
    fault = FAULTS[int(rng.integers(0, len(FAULTS)))]
    entry = f"instrument = '{name}', what = '{fault}', probability = '20 %'"
    adding = f':FAUL:ADD "{entry}";' if rng.random() < 0.5 else ""
    assert ask(bench.raw["control"], f"FAUL:CLE;{adding}*OPC?\n".encode()) == b"1\n"


def test_minutes_of_bad_input_neither_end_nor_swell_the_server() -> None:
    rng = np.random.default_rng(SEED)
    with served("--control", "--pty", SERIAL) as bench:
        names = [name for name in bench.raw if name != "control"]
        start, visits, early_kib = time.monotonic(), 0, 0
        while time.monotonic() - start < 60 * MINUTES:
            name = names[int(rng.integers(0, len(names)))]
            if visits % 200 == 0:
                upset(bench, name, rng)
            visit(bench, name, rng)
            visits += 1
            if time.monotonic() - start < 6 * MINUTES:
                early_kib = bench.resident_kib()
        late_kib = bench.resident_kib()
        assert ask(bench.raw["control"], b"FAUL:CLE;*OPC?\n") == b"1\n"
        assert bench.answers_everywhere()
    print(
        f"\n{visits} visits in {MINUTES:g} min; memory {early_kib} KiB early, {late_kib} KiB late"
    )
    assert late_kib - early_kib < MOST_GROWTH_KIB
