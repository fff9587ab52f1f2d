"""HiSLIP byte by byte: what a session answers to messages that are rare or wrong.

Types and codes are written as numbers out of IVI-6.1, not taken from the server's own table.
"""

import socket
import struct
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scpi_stand_in import table_top
from served import serving

from simulated_bench.hislip import listener
from simulated_bench.hislip.message import MalformedHeader, Message, Reader
from simulated_bench.server import Server

METER = "voltmeter_sense"
INITIALIZE, INITIALIZE_RESPONSE, FATAL_ERROR, ERROR = 0, 1, 2, 3
LOCK, LOCK_RESPONSE, DATA, DATA_END, CLEAR_COMPLETE, CLEAR_ACKNOWLEDGE = 4, 5, 6, 7, 8, 9
REMOTE, REMOTE_RESPONSE, TRIGGER, INTERRUPTED, ASYNC_INTERRUPTED = 10, 11, 12, 13, 14
SIZE, SIZE_RESPONSE, ASYNC_INITIALIZE, ASYNC_INITIALIZE_RESPONSE = 15, 16, 17, 18
ASYNC_CLEAR, STATUS, STATUS_RESPONSE, ASYNC_CLEAR_ACKNOWLEDGE = 19, 21, 22, 23
LOCK_INFO, LOCK_INFO_RESPONSE = 24, 25
FIRST_ID = 0xFFFFFF00


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    with serving(Server(table_top(load={"clients": 2}), "127.0.0.1", 0, hislip=0)) as running:
        yield running


@pytest.fixture(scope="module")
def port(server: Server) -> int:
    return port_of(server, METER)


def port_of(server: Server, name: str) -> int:
    return int(server.hislip_addresses()[name].split(",")[1].split("::")[0])


def said(kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> bytes:
    return struct.pack("!2sBBIQ", b"HS", kind, control, parameter, len(payload)) + payload


class Wire:
    """One connection."""

    def __init__(self, port: int) -> None:
        self.sock = socket.create_connection(("127.0.0.1", port), timeout=5)

    def exactly(self, many: int) -> bytes:
        data = b""
        while len(data) < many:
            block = self.sock.recv(many - len(data))
            if not block:
                raise ConnectionError("closed")
            data += block
        return data

    def heard(self) -> tuple[int, int, int, bytes]:
        mark, kind, control, parameter, length = struct.unpack("!2sBBIQ", self.exactly(16))
        assert mark == b"HS"
        return kind, control, parameter, self.exactly(length)

    def ask(self, *message: object) -> tuple[int, int, int, bytes]:
        self.sock.sendall(said(*message))  # type: ignore[arg-type]
        return self.heard()

    def closed(self) -> bool:
        try:
            return self.sock.recv(1) == b""
        except ConnectionResetError:
            return True


@contextmanager
def session(port: int) -> Iterator[tuple[Wire, Wire]]:
    sync, aside = Wire(port), Wire(port)
    try:
        kind, control, parameter, _ = sync.ask(INITIALIZE, 0, 0x01007878, b"hislip0")
        assert (kind, control, parameter >> 16) == (INITIALIZE_RESPONSE, 0, 0x0100)
        assert aside.ask(ASYNC_INITIALIZE, 0, parameter & 0xFFFF)[0] == ASYNC_INITIALIZE_RESPONSE
        yield sync, aside
    finally:
        sync.sock.close()
        aside.sock.close()


def test_an_answer_has_the_number_of_its_question(port: int) -> None:
    with session(port) as (sync, _):
        assert sync.ask(DATA_END, 0, FIRST_ID, b"*OPC?\n") == (DATA_END, 0, FIRST_ID, b"1\n")
        sync.sock.sendall(said(DATA, 1, FIRST_ID + 2, b"*ESE 3;*E"))
        assert sync.ask(DATA_END, 0, FIRST_ID + 4, b"SE?") == (DATA_END, 0, FIRST_ID + 4, b"3\n")


def test_sizes_are_agreed_and_kept(port: int) -> None:
    with session(port) as (sync, aside):
        kind, control, parameter, payload = aside.ask(SIZE, 0, 0, struct.pack("!Q", 16 + 10))
        assert (kind, control, parameter, len(payload)) == (SIZE_RESPONSE, 0, 0, 8)
        first = sync.ask(DATA_END, 0, FIRST_ID, b"*IDN?\n")
        parts = [first]
        while parts[-1][0] == DATA:
            parts.append(sync.heard())
        assert {len(part[3]) for part in parts[:-1]} == {10}
        assert parts[-1][0] == DATA_END
        assert b"".join(part[3] for part in parts).startswith(b"WORKSHOP,VOLTMETER-SENSE,")


def test_status_tells_whether_an_answer_waits(port: int) -> None:
    with session(port) as (sync, aside):
        sync.ask(DATA_END, 0, FIRST_ID, b"*CLS;*OPC?\n")
        assert aside.ask(STATUS, 0, FIRST_ID)[:2] == (STATUS_RESPONSE, 16)
        assert aside.ask(STATUS, 1, FIRST_ID)[:2] == (STATUS_RESPONSE, 0)
        assert sync.ask(DATA_END, 0, FIRST_ID + 2, b"*OPC?\n")[0] == DATA_END  # no interruption


def test_a_new_message_before_the_answer_is_taken_interrupts(port: int) -> None:
    with session(port) as (sync, aside):
        sync.ask(DATA_END, 0, FIRST_ID, b"*CLS;*IDN?\n")
        assert sync.ask(DATA_END, 0, FIRST_ID + 2, b"*OPC?\n")[::2] == (INTERRUPTED, FIRST_ID + 2)
        assert aside.heard()[::2] == (ASYNC_INTERRUPTED, FIRST_ID + 2)
        assert sync.heard() == (DATA_END, 0, FIRST_ID + 2, b"1\n")
        assert sync.ask(DATA_END, 1, FIRST_ID + 4, b"SYST:ERR?")[3].startswith(b"-410,")


def test_device_clear_forgets_what_was_begun(port: int) -> None:
    with session(port) as (sync, aside):
        sync.sock.sendall(said(DATA, 0, FIRST_ID, b"*ESE 77;*ESE?;"))
        assert aside.ask(ASYNC_CLEAR)[0] == ASYNC_CLEAR_ACKNOWLEDGE
        sync.sock.sendall(said(DATA_END, 0, FIRST_ID + 2, b"*IDN?\n"))  # before it knew
        assert sync.ask(CLEAR_COMPLETE)[0] == CLEAR_ACKNOWLEDGE
        assert sync.ask(DATA_END, 0, FIRST_ID, b"*ESE 5;*ESE?\n")[3] == b"5\n"


def test_what_else_a_client_may_ask(port: int) -> None:
    with session(port) as (sync, aside):
        assert aside.ask(LOCK, 1, 1000, b"mine")[:2] == (LOCK_RESPONSE, 0)
        assert aside.ask(LOCK_INFO)[:3] == (LOCK_INFO_RESPONSE, 0, 0)
        for code in range(7):
            assert aside.ask(REMOTE, code)[0] == REMOTE_RESPONSE
        sync.sock.sendall(said(TRIGGER, 0, FIRST_ID))
        assert sync.ask(DATA_END, 0, FIRST_ID + 2, b"SYST:ERR?\n")[3].startswith(b"-113,")


@pytest.mark.parametrize(
    ("message", "code"),
    [((99,), 1), ((20,), 1), ((200,), 3), ((DATA_END, 8, 0, b"*IDN?"), 2), ((LOCK,), 1)],
)
def test_what_is_not_known_is_said_and_the_session_goes_on(
    port: int, message: tuple[int, ...], code: int
) -> None:
    with session(port) as (sync, _):
        assert sync.ask(*message)[:2] == (ERROR, code)
        assert sync.ask(DATA_END, 0, FIRST_ID, b"*OPC?\n")[3] == b"1\n"


def test_a_message_too_large_is_read_past(port: int) -> None:
    with session(port) as (sync, aside):
        huge = b"x" * 200_000
        assert sync.ask(DATA_END, 0, FIRST_ID, huge)[:2] == (ERROR, 4)
        assert sync.ask(DATA_END, 0, FIRST_ID + 2, b"SYST:ERR?")[3].startswith(b"-363,")
        assert aside.ask(SIZE, 0, 0, huge)[:2] == (ERROR, 4)
        assert aside.heard()[:2] == (ERROR, 0)
        assert aside.ask(REMOTE, 9)[:2] == (ERROR, 2)


@pytest.mark.parametrize(
    ("opening", "code"),
    [
        (b"GET / HTTP/1.1\r\n\r\n", 1),
        (said(DATA_END, 0, FIRST_ID, b"*IDN?\n"), 3),
        (said(INITIALIZE, 0, 0x01000000, b"inst0"), 3),
        (said(ASYNC_INITIALIZE, 0, 60000), 3),
    ],
)
def test_a_wrong_beginning_is_fatal(port: int, opening: bytes, code: int) -> None:
    wire = Wire(port)
    wire.sock.sendall(opening)
    assert wire.heard()[:2] == (FATAL_ERROR, code)
    assert wire.closed()
    wire.sock.close()


def test_data_before_both_connections_are_there_is_fatal(port: int) -> None:
    wire = Wire(port)
    wire.ask(INITIALIZE, 0, 0x01000000, b"hislip0")
    assert wire.ask(DATA_END, 0, FIRST_ID, b"*IDN?")[:2] == (FATAL_ERROR, 2)
    assert wire.closed()


def test_one_end_takes_the_other_along(port: int) -> None:
    with session(port) as (sync, aside):
        aside.sock.close()
        assert sync.closed()
    with session(port) as (sync, aside):
        sync.sock.sendall(b"??????????????????")
        assert sync.heard()[:2] == (FATAL_ERROR, 1)
        assert aside.closed()


def test_more_clients_than_seats_are_told_so(server: Server) -> None:
    port = port_of(server, "load")
    with session(port), session(port):
        wire = Wire(port)
        assert wire.ask(INITIALIZE, 0, 0x01000000, b"hislip0")[:2] == (FATAL_ERROR, 4)
        assert wire.closed()
    with session(port) as (sync, _):
        assert sync.ask(DATA_END, 0, FIRST_ID, b"*OPC?")[3] == b"1\n"


def test_a_connection_that_becomes_no_session_is_closed(
    monkeypatch: pytest.MonkeyPatch, server: Server
) -> None:
    monkeypatch.setattr(listener, "PATIENCE_S", 0.2)
    port = port_of(server, "person")
    silent, half = Wire(port), Wire(port)
    half.ask(INITIALIZE, 0, 0x01000000, b"hislip0")
    for wire in (silent, half):
        assert wire.heard()[0] == FATAL_ERROR
        assert wire.closed()
    with session(port) as (sync, _):
        assert sync.ask(DATA_END, 0, FIRST_ID, b"*OPC?")[3] == b"1\n"


messages = st.builds(
    Message,
    kind=st.integers(0, 255),
    control=st.integers(0, 255),
    parameter=st.integers(0, 2**32 - 1),
    payload=st.binary(max_size=300),
)


@given(st.lists(messages, max_size=6), st.randoms())
def test_messages_are_found_however_the_stream_is_cut(sent: list[Message], random: object) -> None:
    stream = b"".join(message.packed() for message in sent)
    reader, found, at = Reader(), [], 0
    while at < len(stream):
        size = random.randint(1, 40)  # type: ignore[attr-defined]
        found += list(reader.feed(stream[at : at + size]))
        at += size
    assert [message[:4] for message in found] == [message[:4] for message in sent]


@given(st.lists(st.binary(max_size=200), max_size=8))
def test_a_reader_keeps_little_of_any_stream(blocks: list[bytes]) -> None:
    reader = Reader()
    for block in blocks:
        try:
            list(reader.feed(block))
        except MalformedHeader:
            return
    assert len(reader._data) <= sum(len(block) for block in blocks)


openings = st.one_of(st.binary(max_size=200), messages.map(Message.packed))


@settings(max_examples=60)
@given(st.lists(openings, max_size=6), st.lists(openings, max_size=4), st.booleans())
def test_junk_never_ends_the_server(
    port: int, sync_junk: list[bytes], aside_junk: list[bytes], begun: bool
) -> None:
    if begun:
        with session(port) as (sync, aside):
            send_all(sync, sync_junk)
            send_all(aside, aside_junk)
    else:
        wire = Wire(port)
        send_all(wire, sync_junk)
        wire.sock.close()
    for _ in range(20):  # seats come back when the server has seen the others go
        try:
            with session(port) as (sync, _):
                assert sync.ask(DATA_END, 0, FIRST_ID, b"*OPC?\n")[3] == b"1\n"
                return
        except ConnectionError:
            continue
    pytest.fail("no session any more")


def send_all(wire: Wire, junk: list[bytes]) -> None:
    try:
        for block in junk:
            wire.sock.sendall(block)
    except OSError:
        pass
