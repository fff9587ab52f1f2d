"""Time of a query through a socket, beside a bare echo server, in one run; prints the ratios.

Run by ``pytest tests/benchmarks/test_server_speed.py -m slow -s``. Both servers are processes of
their own; short rounds alternate, and of each the quick tenth counts: what else the computer does
meanwhile only makes rounds longer.
"""

import json
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from statistics import quantiles

import pytest

pytestmark = pytest.mark.slow

ROUNDS, QUERIES = 600, 20
AT_MOST = 1.3
"""Times a bare echo server, for a question that costs the instrument nothing."""

ECHO = """
import socket
server = socket.create_server(("127.0.0.1", 0))
print(server.getsockname()[1], flush=True)
sock, _ = server.accept()
sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
while data := sock.recv(65536):
    sock.send(data)
"""
FAULT = "instrument = 'voltmeter_load', what = 'no answer', at = '1 d'"


def opened(port: int) -> socket.socket:
    sock = socket.create_connection(("127.0.0.1", port))
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return sock


def seconds_per_query(sock: socket.socket, message: bytes) -> float:
    start = time.perf_counter()
    for _ in range(QUERIES):
        sock.send(message)
        sock.recv(4096)
    return (time.perf_counter() - start) / QUERIES


@contextmanager
def servers() -> Iterator[tuple[int, dict[str, int]]]:
    words = [sys.executable, "-m", "simulated_bench", "serve", "--until-stdin-closes", "--control"]
    with (
        subprocess.Popen([sys.executable, "-c", ECHO], stdout=subprocess.PIPE) as echo,
        subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as bench,
    ):
        assert echo.stdout is not None
        assert bench.stdout is not None
        assert bench.stdin is not None
        where = json.loads(bench.stdout.readline())["instruments"]
        yield int(echo.stdout.readline()), {n: int(a.split("::")[2]) for n, a in where.items()}
        bench.stdin.close()


def test_a_query_costs_little_more_than_an_echo() -> None:
    with (
        servers() as (echo, ports),
        opened(echo) as bare,
        opened(ports["voltmeter_sense"]) as meter,
        opened(ports["voltmeter_load"]) as faulty,
        opened(ports["control"]) as control,
    ):
        control.sendall(f'FAUL:ADD "{FAULT}";*OPC?\n'.encode())
        assert control.recv(100) == b"1\n"
        asked = {
            "bare echo": (bare, b"*IDN?\n"),
            "*IDN?": (meter, b"*IDN?\n"),
            "VOLT:RANG?": (meter, b"VOLT:RANG?\n"),
            "READ?": (meter, b"READ?\n"),
            "*IDN? with a fault waiting": (faulty, b"*IDN?\n"),
        }
        taken: dict[str, list[float]] = {text: [] for text in asked}
        for _ in range(ROUNDS):
            for text, (sock, message) in asked.items():
                taken[text].append(seconds_per_query(sock, message))
    quick = {text: quantiles(seconds, n=10)[0] for text, seconds in taken.items()}
    ratios = {text: seconds / quick["bare echo"] for text, seconds in quick.items()}
    print()
    for text, ratio in ratios.items():
        print(f"{text}: {quick[text] * 1e6:.1f} µs, ratio {ratio:.2f}")
    assert ratios["*IDN?"] <= AT_MOST
