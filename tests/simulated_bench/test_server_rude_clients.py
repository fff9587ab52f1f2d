"""Crowds, clients that never read, that write a byte at a time, that hang up in the middle."""

import os
import resource
import select
import socket
import struct
import time
from collections.abc import Iterator
from contextlib import suppress

import pytest
from rude import Served, ask, called, hislip_session, opened, said, served, vxi11_link

CROWD = 3000
MOST_GROWTH_KIB = 12 * 1024
FLOOD = b"*IDN?\n" * 500


@pytest.fixture(scope="module")
def running() -> Iterator[Served]:
    with served("--pty", "thermometer") as one:
        yield one


@pytest.fixture
def bench(running: Served) -> Iterator[Served]:
    yield running
    assert running.answers_everywhere()


@pytest.fixture
def many_descriptors() -> Iterator[int]:
    """Let this process open a crowd; return how many it may."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = CROWD + 200 if hard == resource.RLIM_INFINITY else min(hard, CROWD + 200)
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, wanted), hard))
    yield max(soft, wanted) - 200
    resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


def crowd(ports: list[int], many: int) -> list[socket.socket]:
    return [opened(ports[number % len(ports)]) for number in range(many)]


def test_a_crowd_of_thousands_neither_stops_nor_swells_it(
    bench: Served, many_descriptors: int
) -> None:
    ports = [*bench.raw.values(), *bench.hislip.values(), *bench.vxi11.values()]
    ports.remove(bench.raw["clock"])
    before_kib = bench.resident_kib()
    held = crowd(ports, min(CROWD, many_descriptors))
    assert ask(bench.raw["clock"], b"*OPC?\n") == b"1\n"
    assert bench.descriptors() < 400
    assert bench.resident_kib() - before_kib < MOST_GROWTH_KIB
    for sock in held:
        sock.close()


def test_without_a_descriptor_left_it_turns_clients_away_and_rests() -> None:
    with served() as bench:
        bench.allow_descriptors(bench.descriptors() + 3)
        held = crowd([bench.raw["load"]], 40)
        assert turned_away(held, 37)
        start = bench.cpu_s()
        select.select([], [], [], 0.5)
        assert bench.cpu_s() - start < 0.25, "it looks at the same clients again and again"
        for sock in held:
            sock.close()
        assert bench.answers_everywhere()


def turned_away(held: list[socket.socket], enough: int) -> bool:
    """Wait until so many have been closed; nobody is told anything here, so readable means that."""
    deadline = time.monotonic() + 20
    while time.monotonic() < deadline:
        if len(select.select(held, [], [], 0.1)[0]) >= enough:
            return True
    return False


def test_clients_that_write_a_byte_at_a_time_hold_nobody_up(bench: Served) -> None:
    slow = [opened(bench.raw["person"]) for _ in range(7)]
    for byte in b"*IDN?;*IDN?;*IDN?":
        for sock in slow:
            sock.sendall(bytes([byte]))
        assert ask(bench.raw["person"], b"*OPC?\n") == b"1\n"
    with hislip_session(bench.hislip["load"]) as (sync, _):
        for byte in said(7, 0, 0xFFFFFF00, b"*OPC?\n"):
            sync.sendall(bytes([byte]))
            assert ask(bench.raw["load"], b"*OPC?\n") == b"1\n"
        assert sync.recv(100).endswith(b"1\n")
    for sock in slow:
        sock.close()


def cut_off(sock: socket.socket, block: bytes) -> bool:
    """Write without reading until the other end has had enough."""
    try:
        for _ in range(3000):
            sock.sendall(block)
    except OSError:
        return True
    return False


def test_a_client_that_never_reads_is_cut_off(bench: Served) -> None:
    before_kib = bench.resident_kib()
    with opened(bench.raw["voltmeter_load"]) as sock:
        assert cut_off(sock, FLOOD)
    assert bench.error("voltmeter_load").startswith(b"-430,")
    questions = said(7, 1, 0xFFFFFF00, b"*IDN?\n") * 500
    with hislip_session(bench.hislip["voltmeter_shunt"]) as (sync, _):
        assert cut_off(sync, questions)
    assert bench.error("voltmeter_shunt").startswith(b"-430,")
    with vxi11_link(bench.vxi11["voltmeter_sense"]) as (sync, link):
        waits = called(2, 12, struct.pack("!6I", link, 4096, 10**9, 0, 0, 0))
        assert cut_off(sync, waits * 500)
    assert bench.resident_kib() - before_kib < MOST_GROWTH_KIB


def test_one_that_never_reads_its_serial_line_loses_its_answers(bench: Served) -> None:
    before_kib = bench.resident_kib()
    far = os.open(bench.serial["thermometer"], os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    start = time.monotonic()
    while not bench.error("thermometer").startswith(b"-430,"):
        with suppress(BlockingIOError):
            for _ in range(40):
                os.write(far, b"*IDN?\n" * 100)
        assert time.monotonic() - start < 20
    os.close(far)
    assert bench.resident_kib() - before_kib < MOST_GROWTH_KIB


def test_endless_instructions_are_not_all_remembered(bench: Served) -> None:
    long = b'OPER:INST "' + b"please " * 8000 + b'";*OPC?\n'
    short = b'OPER:INST "Switch the output on.";*OPC?\n'
    grown: list[int] = []
    for _ in range(2):
        with opened(bench.raw["person"]) as sock:
            for message in [long] * 60 + [short] * 1500:
                sock.sendall(message)
                assert sock.recv(10) == b"1\n"
        grown.append(bench.resident_kib())
    assert grown[1] - grown[0] < 2048


def test_connections_that_only_one_side_has_closed_go(bench: Served) -> None:
    half = [opened(port) for port in bench.raw.values() for _ in range(8)]
    for sock in half:
        sock.sendall(b"*IDN?\n*ID")
        sock.shutdown(socket.SHUT_WR)
    for sock in half:
        assert sock.recv(200).startswith(b"WORKSHOP,")
        assert sock.recv(1) == b""
        sock.close()


@pytest.mark.parametrize("block", [b"\xff\x00" * 2000, b'"' * 3000 + b"\n", b"(" * 3000 + b"\n"])
def test_junk_on_the_serial_line_leaves_it_working(bench: Served, block: bytes) -> None:
    far = os.open(bench.serial["thermometer"], os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    for _ in range(30):
        with suppress(BlockingIOError):
            os.write(far, block)
    os.close(far)
