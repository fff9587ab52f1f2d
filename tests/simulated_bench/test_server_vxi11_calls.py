"""VXI-11 byte by byte: what the server replies to calls that are rare or wrong.

Layouts and numbers of calls and replies are written out of RFC 5531 (record marking: section 11,
messages: section 9) and RFC 4506, those of the programs from memory of VXI-11's appendix B and C;
nothing is taken from the server's own tables.
"""

import socket
import struct
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scpi_stand_in import StandInWorld, table_top
from served import serving

from simulated_bench.instruments.reading_tables import read_tables
from simulated_bench.instruments.table_top import place
from simulated_bench.server import Server
from simulated_bench.vxi11 import listener, xdr
from simulated_bench.vxi11.rpc import Records

METER = "voltmeter_sense"
CORE, ABORT = 0x0607AF, 0x0607B0
END, TERMINATOR_SET = 8, 128
LATE = {"instrument": METER, "what": "late answer", "after_queries": 0, "delay": "0.3 s"}


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    with serving(Server(table_top(), "127.0.0.1", 0, vxi11=0)) as running:
        yield running


@pytest.fixture(scope="module")
def port(server: Server) -> int:
    return port_of(server, METER)


def port_of(server: Server, name: str) -> int:
    return int(server.vxi11_addresses()[name].split(",")[1].split("::")[0])


def words(*values: int) -> bytes:
    return struct.pack(f"!{len(values)}I", *(value & 0xFFFFFFFF for value in values))


def opaque(data: bytes) -> bytes:
    return words(len(data)) + data + b"\0" * (-len(data) % 4)


def record(body: bytes) -> bytes:
    return words(0x80000000 | len(body)) + body


class Client:
    def __init__(self, port: int) -> None:
        self.sock = socket.create_connection(("127.0.0.1", port), timeout=5)
        self.number = 0

    def exactly(self, many: int) -> bytes:
        data = self.sock.recv(many, socket.MSG_WAITALL)
        if len(data) < many:
            raise ConnectionError("closed")
        return data

    def heard(self) -> bytes:
        head = struct.unpack("!I", self.exactly(4))[0]
        assert head & 0x80000000
        return self.exactly(head & 0x7FFFFFFF)

    def send(self, procedure: int, arguments: bytes = b"", program: int = CORE) -> None:
        self.number += 1
        head = words(self.number, 0, 2, program, 1, procedure, 0, 0, 0, 0)
        self.sock.sendall(record(head + arguments))

    def results(self) -> bytes:
        """Return the results of a call that was carried out."""
        reply = self.heard()
        assert reply[:24] == words(self.number, 1, 0, 0, 0, 0)
        return reply[24:]

    def call(self, procedure: int, arguments: bytes = b"", program: int = CORE) -> bytes:
        self.send(procedure, arguments, program)
        return self.results()

    def link(self, name: bytes = b"inst0") -> int:
        error, number, abort_port, most = struct.unpack(
            "!4i", self.call(10, words(5, 0, 0) + opaque(name))
        )
        assert error == 0
        assert abort_port == self.sock.getpeername()[1]
        assert most >= 1024
        return int(number)

    def write(self, link: int, data: bytes, flags: int = END) -> tuple[int, ...]:
        return struct.unpack("!2i", self.call(11, words(link, 1000, 0, flags) + opaque(data)))

    def ask_to_read(self, link: int, most: int, ms: int, mark: bytes = b"") -> None:
        flags = TERMINATOR_SET if mark else 0
        self.send(12, words(link, most, ms, 0, flags, mark[0] if mark else 0))

    def read_result(self) -> tuple[int, int, bytes]:
        results = self.results()
        error, reason, length = struct.unpack("!3i", results[:12])
        assert len(results) == 12 + length + -length % 4
        return error, reason, results[12 : 12 + length]

    def read(self, link: int, most: int = 1000, ms: int = 100, mark: bytes = b"") -> object:
        self.ask_to_read(link, most, ms, mark)
        return self.read_result()

    def closed(self) -> bool:
        try:
            return self.sock.recv(1) == b""
        except ConnectionResetError:
            return True


@contextmanager
def client(port: int) -> Iterator[Client]:
    one = Client(port)
    try:
        yield one
    finally:
        one.sock.close()


def test_a_read_ends_at_the_end_the_terminator_or_the_count(port: int) -> None:
    with client(port) as one:
        link = one.link()
        assert one.write(link, b"*ESE 3;*ESE?\n") == (0, 13)
        assert one.read(link) == (0, 4, b"3\n")
        one.write(link, b"*ESE?")  # END ends a message, a line feed is not needed
        assert one.read(link, mark=b"\n") == (0, 2 | 4, b"3\n")
        one.write(link, b"*ESE?;*SRE?")
        assert one.read(link, mark=b";") == (0, 2, b"3;")
        assert one.read(link, most=1) == (0, 1, b"0")
        assert one.read(link, most=1) == (0, 1 | 4, b"\n")
        assert one.read(link, ms=10) == (15, 0, b"")


def test_a_message_in_parts_is_whole_with_the_last_one(port: int) -> None:
    with client(port) as one:
        link = one.link()
        assert one.write(link, b"*ESE 7;*E", flags=0) == (0, 9)
        assert one.read(link, ms=1) == (15, 0, b"")
        one.write(link, b"SE?\n")
        assert one.read(link) == (0, 4, b"7\n")


def test_calls_in_fragments_and_several_at_once_are_answered_in_order(port: int) -> None:
    with client(port) as one:
        link = one.link()
        one.number = 41
        body = words(42, 0, 2, CORE, 1, 11, 0, 0, 0, 0, link, 0, 0, END) + opaque(b"*IDN?")
        pieces = [body[at : at + 7] for at in range(0, len(body), 7)]
        for piece in pieces[:-1]:
            one.sock.sendall(words(len(piece)) + piece)
        one.number = 42
        one.sock.sendall(record(pieces[-1]) + record(words(43, 0, 2, CORE, 1, 0, 0, 0, 0, 0)))
        assert one.results() == words(0, 5)
        one.number = 43
        assert one.results() == b""


def test_a_read_that_waits_holds_up_its_connection_only_until_the_answer_comes() -> None:
    placed = place(StandInWorld(), read_tables({}, "test"), 1, (LATE,))
    with (
        serving(Server(placed, "127.0.0.1", 0, vxi11=0)) as server,
        client(port_of(server, METER)) as one,
        client(port_of(server, METER)) as two,
    ):
        link, other = one.link(), two.link()
        one.write(link, b"*OPC?")
        one.ask_to_read(link, 100, 5000)
        one.send(13, words(link, 0, 0, 0))
        two.write(other, b"*ESE 4;*ESE?")
        assert two.read(other) == (0, 4, b"4\n")
        one.number -= 1
        assert one.read_result() == (0, 4, b"1\n")
        one.number += 1
        assert one.results() == words(0, 0)


def test_the_abort_channel_ends_a_read_that_waits(port: int) -> None:
    with client(port) as one, client(port) as aside:
        link = one.link()
        one.ask_to_read(link, 100, 60_000)
        assert aside.call(1, words(link), ABORT) == words(0)
        assert one.read_result() == (23, 0, b"")
        assert aside.call(1, words(link + 999), ABORT) == words(4)
        one.write(link, b"*OPC?")
        assert one.read(link) == (0, 4, b"1\n")


def test_links_belong_to_their_connection_and_end_with_it(port: int) -> None:
    with client(port) as one, client(port) as two:
        links = [one.link(b"INST0"), one.link(b"")]
        assert len(set(links)) == 2
        one.write(links[0], b"*ESE 5;*ESE?")
        one.write(links[1], b"*OPC?")
        assert [one.read(link) for link in links] == [(0, 4, b"5\n"), (0, 4, b"1\n")]
        assert two.write(links[0], b"*RST") == (4, 0)
        assert two.read(links[0]) == (4, 0, b"")
        assert two.call(13, words(links[0], 0, 0, 0)) == words(4, 0)
        assert two.call(23, words(links[0])) == words(4)
        assert one.call(23, words(links[0])) == words(0)
        assert one.call(23, words(links[0])) == words(4)
        assert one.write(links[0], b"*RST") == (4, 0)


def test_what_is_not_served_says_so(port: int) -> None:
    with client(port) as one:
        link = one.link()
        assert one.call(10, words(5, 1, 0) + opaque(b"inst0"))[:4] == words(8)  # a locked link
        assert one.call(18, words(link, 0, 0)) == words(8)
        assert one.call(19, words(link)) == words(12)
        assert one.call(20, words(link, 1) + opaque(b"x")) == words(8)
        assert one.call(22, words(link, 0, 0, 0, 1, 1, 0) + opaque(b"")) == words(8, 0)
        assert one.call(25, words(0, 0, 0, 0, 0)) == words(8)
        assert one.call(26) == words(8)
        assert one.call(0) == b""


@pytest.mark.parametrize(
    ("call", "reply"),
    [
        (words(9, 0, 3, CORE, 1, 0), words(9, 1, 1, 0, 2, 2)),
        (words(9, 0, 2, 77, 1, 0, 0, 0, 0, 0), words(9, 1, 0, 0, 0, 1)),
        (words(9, 0, 2, CORE, 2, 0, 0, 0, 0, 0), words(9, 1, 0, 0, 0, 2, 1, 1)),
        (words(9, 0, 2, CORE, 1, 99, 0, 0, 0, 0), words(9, 1, 0, 0, 0, 3)),
        (words(9, 0, 2, ABORT, 1, 2, 0, 0, 0, 0), words(9, 1, 0, 0, 0, 3)),
        (words(9, 0, 2, CORE, 1, 12, 0, 0, 0, 0, 1), words(9, 1, 0, 0, 0, 4)),
        (words(9, 0, 2, CORE, 1, 11, 0, 0, 0, 0, 1, 0, 0, 8, 10**8), words(9, 1, 0, 0, 0, 4)),
    ],
)
def test_a_wrong_call_gets_the_reply_that_the_standard_has(
    port: int, call: bytes, reply: bytes
) -> None:
    with client(port) as one:
        one.sock.sendall(record(call))
        assert one.heard() == reply
        assert one.link()


@pytest.mark.parametrize(
    "junk",
    [
        words(0xFFFFFFFF),
        words(0x7FFFFFFF),
        record(words(1, 1)),
        record(b"x"),
        record(words(9, 0, 2, CORE, 1, 0, 0, 500)),
        words(0) * 1000,
        b"*IDN?\n" * 10,
    ],
)
def test_what_is_no_call_ends_the_connection(port: int, junk: bytes) -> None:
    with client(port) as one:
        one.sock.sendall(junk)
        assert one.closed()


def test_connections_that_never_call_are_closed_and_few_at_a_time(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(listener, "PATIENCE_S", 0.2)
    with serving(Server(table_top(), "127.0.0.1", 0, vxi11=0)) as server:
        port = port_of(server, METER)
        crowd = [Client(port) for _ in range(listener.MOST_WITHOUT_LINK + 1)]
        assert crowd[-1].closed()
        assert crowd[0].closed()
        for one in crowd:
            one.sock.close()
        with client(port) as patient:
            patient.link()
            threading.Event().wait(0.3)
            assert patient.call(0) == b""


@given(data=st.binary(max_size=200), wanted=st.integers(0, 100))
def test_xdr_reads_back_what_it_wrote_and_pads_to_whole_groups(data: bytes, wanted: int) -> None:
    written = xdr.opaque(data) + xdr.unsigned(wanted) + xdr.signed(-wanted)
    assert len(written) % 4 == 0
    assert written == opaque(data) + words(wanted, -wanted)
    reader = xdr.Reader(written)
    assert (reader.opaque(200), reader.unsigned(), reader.signed()) == (data, wanted, -wanted)
    with pytest.raises(xdr.Malformed):
        reader.unsigned()


@settings(max_examples=60)
@given(
    records=st.lists(st.binary(min_size=1, max_size=50), max_size=6),
    cut=st.integers(1, 20),
    fragment=st.integers(1, 20),
)
def test_records_come_out_as_they_went_in_however_the_stream_is_cut(
    records: list[bytes], cut: int, fragment: int
) -> None:
    stream = b""
    for one in records:
        parts = [one[at : at + fragment] for at in range(0, len(one), fragment)]
        stream += b"".join(words(len(part)) + part for part in parts[:-1]) + record(parts[-1])
    reader, found = Records(1000), []
    for at in range(0, len(stream), cut):
        reader.feed(stream[at : at + cut])
        found += list(reader.whole())
    assert found == records


@settings(max_examples=50)
@given(
    procedure=st.sampled_from([0, 10, 11, 12, 13, 14, 15, 16, 17, 18, 19, 20, 22, 23, 25, 26]),
    arguments=st.binary(max_size=80),
)
def test_random_arguments_neither_end_the_server_nor_its_next_client(
    port: int, procedure: int, arguments: bytes
) -> None:
    with client(port) as one:
        one.send(procedure, arguments)
        assert len(one.heard()) >= 24
    with client(port) as two:
        link = two.link()
        two.write(link, b"*CLS;*ESE 3;*ESE?")
        assert two.read(link, ms=2000) == (0, 4, b"3\n")
