"""Time of a query through a socket, beside a bare echo server, in one run; prints the ratios.

Run by ``pytest tests/benchmarks/test_server_speed.py -m slow -s``. Both servers are processes of
their own that wait for all their connections together, on one core; the client is on another.
Short rounds alternate, and of each the quick tenth counts: what else the computer does meanwhile
only makes rounds longer. The median of the ratios within a round is printed beside it.
"""

import os
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from statistics import median, quantiles

import pytest
from echo_servers import BLOCKING_ECHO, ECHO, echo
from rude import hislip_session, opened, said, served

pytestmark = pytest.mark.slow

ROUNDS, QUERIES = 400, 20
AT_MOST = 1.3
"""Times a bare echo server, for a question that costs the instrument nothing."""

FAULT = "instrument = 'voltmeter_load', what = 'no answer', at = '1 d'"

Exchange = Callable[[], None]


@contextmanager
def talking(port: int) -> Iterator[socket.socket]:
    with opened(port) as sock:
        sock.settimeout(None)  # a time-out would cost the client another system call per message
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        yield sock


def exchange(sock: socket.socket, message: bytes) -> Exchange:
    def once() -> None:
        sock.send(message)
        sock.recv(4096)

    return once


def seconds(work: Exchange) -> float:
    start = time.perf_counter()
    for _ in range(QUERIES):
        work()
    return (time.perf_counter() - start) / QUERIES


def ratios(asked: dict[str, Exchange]) -> dict[str, float]:
    """Return each one's ratio to the first by their quick tenths; print them."""
    taken: dict[str, list[float]] = {text: [] for text in asked}
    for _ in range(ROUNDS):
        for text, work in asked.items():
            taken[text].append(seconds(work))
    first = next(iter(taken.values()))
    quick = {text: quantiles(times, n=10)[0] for text, times in taken.items()}
    found = {text: tenth / quantiles(first, n=10)[0] for text, tenth in quick.items()}
    print()
    for text, times in taken.items():
        middle = median(ours / bare for ours, bare in zip(times, first, strict=True))
        print(
            f"{text}: {quick[text] * 1e6:.1f} µs, ratio {found[text]:.2f} "
            f"(median of rounds {middle:.2f})"
        )
    return found


@contextmanager
def on_two_cores(*servers: int) -> Iterator[None]:
    """Keep this process on one core and the servers on another: else luck decides who shares."""
    before = os.sched_getaffinity(0)
    ours, *others = sorted(before)
    try:
        for pid in servers:
            os.sched_setaffinity(pid, others[:1] or {ours})
        os.sched_setaffinity(0, {ours})
        yield
    finally:
        os.sched_setaffinity(0, before)


def test_a_query_costs_little_more_than_an_echo() -> None:
    with (
        served("--control") as bench,
        echo(ECHO) as polling,
        echo(BLOCKING_ECHO) as blocking,
        talking(polling[0]) as bare,
        talking(blocking[0]) as barest,
        talking(bench.raw["voltmeter_sense"]) as meter,
        talking(bench.raw["voltmeter_load"]) as faulty,
        talking(bench.raw["control"]) as control,
        on_two_cores(bench.process.pid, polling[1], blocking[1]),
    ):
        control.sendall(f'FAUL:ADD "{FAULT}";*OPC?\n'.encode())
        assert control.recv(100) == b"1\n"
        meter.sendall(b"VOLT:APER 1E-3\n")
        found = ratios(
            {
                "bare echo": exchange(bare, b"*IDN?\n"),
                "echo that knows one client only": exchange(barest, b"*IDN?\n"),
                "*IDN?": exchange(meter, b"*IDN?\n"),
                "VOLT:RANG?": exchange(meter, b"VOLT:RANG?\n"),
                "READ?, each with its operating point": exchange(meter, b"READ?\n"),
                "*IDN? with a fault waiting": exchange(faulty, b"*IDN?\n"),
            }
        )
    assert found["*IDN?"] <= AT_MOST
    assert found["VOLT:RANG?"] <= AT_MOST


def test_hislip_costs_what_its_headers_cost() -> None:
    with (
        served() as bench,
        echo(ECHO) as polling,
        talking(polling[0]) as bare,
        hislip_session(bench.hislip["voltmeter_sense"]) as (sync, _),
        on_two_cores(bench.process.pid, polling[1]),
    ):
        sync.settimeout(None)
        sync.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        question = said(7, 1, 0xFFFFFF00, b"*IDN?\n")
        ratios(
            {"bare echo": exchange(bare, question), "*IDN? over HiSLIP": exchange(sync, question)}
        )
