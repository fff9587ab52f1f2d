"""Each fact about links that a driver must not be fooled by, against a real misbehaving socket."""

import socket
import threading
import time
from collections.abc import Iterator
from itertools import count
from types import SimpleNamespace
from typing import Any

import pytest
from stand_in import StandIn, cut, hang_up, late, send, silent

from drivers.dialect import Link
from drivers.errors import (
    DamagedAnswer,
    InstrumentError,
    NoAnswer,
    Unreachable,
    WrongIdentity,
)
from drivers.link import resource_manager
from drivers.roles import InstrumentSpec
from drivers.session import Session

TIMEOUT_S = 0.3


@pytest.fixture
def server() -> Iterator[StandIn]:
    with StandIn() as stand_in:
        numbers = count(1)
        stand_in.answers["NEXT?"] = lambda: str(next(numbers))
        stand_in.answers["A?"] = "1.25"
        stand_in.answers["B?"] = "2.5"
        yield stand_in


@pytest.fixture
def events() -> list[str]:
    return []


def make(server: StandIn, events: list[str], **more: object) -> Session:
    spec = InstrumentSpec("meter", "voltmeter", "x", server.address, timeout_s=TIMEOUT_S)
    return Session(spec, on_event=lambda kind, _: events.append(kind), **more)  # type: ignore[arg-type]


@pytest.fixture
def session(server: StandIn, events: list[str]) -> Iterator[Session]:
    made = make(server, events)
    made.open()
    yield made
    made.close()


def test_question_and_answer(session: Session) -> None:
    assert session.query(b"A?\n") == b"1.25"
    assert session.identity == "WORKSHOP,STAND-IN,SIM0001,1.0"


def test_late_answer_is_never_taken_for_another_question(
    server: StandIn, session: Session, events: list[str]
) -> None:
    server.special["A?"] = late(TIMEOUT_S + 0.15, b"1.25\n")
    with pytest.raises(NoAnswer, match=r"A"):
        session.query(b"A?\n")
    time.sleep(0.3)  # by now the late answer has been sent
    assert session.query(b"B?\n") == b"2.5"
    assert session.reopened == 1
    assert events == ["closed", "reopened"]


def test_every_answer_late_gives_errors_and_never_a_wrong_number(
    server: StandIn, session: Session
) -> None:
    for name in ("A?", "B?"):
        server.special[name] = late(TIMEOUT_S + 0.05, server.answers[name].encode() + b"\n")  # type: ignore[union-attr]
        server.forever.add(name)
    for name in ("A?", "B?", "A?"):
        with pytest.raises(NoAnswer):
            session.query(name.encode() + b"\n")
    server.special.clear()
    assert session.query(b"B?\n") == b"2.5"


def test_tail_of_a_cut_answer_is_never_the_next_answer(server: StandIn, session: Session) -> None:
    server.special["A?"] = cut(b"1.2", TIMEOUT_S + 0.3, b"5\n")
    with pytest.raises(DamagedAnswer, match=r"part of the answer") as caught:
        session.query(b"A?\n")
    assert caught.value.answer == "1.2"
    time.sleep(0.5)
    assert session.query(b"B?\n") == b"2.5"


def test_answer_in_two_pieces_in_time_is_whole(server: StandIn, session: Session) -> None:
    server.special["A?"] = cut(b"1.2", 0.05, b"5\n")
    assert session.query(b"A?\n") == b"1.25"


def test_second_line_of_an_answer_is_never_the_next_answer(
    server: StandIn, session: Session
) -> None:
    server.special["A?"] = send(b"1.25\n666\n")
    assert session.query(b"A?\n") == b"1.25"
    with pytest.raises(DamagedAnswer, match=r"nobody asked for"):
        session.query(b"B?\n")
    assert session.query(b"B?\n") == b"2.5"


def test_line_that_comes_unasked_is_never_the_next_answer(
    server: StandIn, session: Session
) -> None:
    server.special["A?"] = cut(b"1.25\n", 0.02, b"666\n")
    assert session.query(b"A?\n") == b"1.25"
    time.sleep(0.1)
    with pytest.raises(DamagedAnswer, match=r"666"):
        session.query(b"B?\n")
    assert session.query(b"B?\n") == b"2.5"


def test_instrument_that_answers_twice_is_found_one_question_later(
    server: StandIn, session: Session
) -> None:
    server.special["B?"] = send(b"1.25\n2.5\n")  # the first line belongs to an earlier question
    assert session.query(b"B?\n") == b"1.25"  # the known limit of a raw socket
    with pytest.raises(DamagedAnswer, match=r"nobody asked for.*2\.5"):
        session.query(b"A?\n")
    assert session.query(b"A?\n") == b"1.25"


def test_closed_peer_is_found_before_writing(server: StandIn, session: Session) -> None:
    server.hang_up()
    time.sleep(0.05)
    start = time.monotonic()
    with pytest.raises(Unreachable, match=r"closed the connection"):
        session.query(b"A?\n")
    assert time.monotonic() - start < 0.1
    assert session.query(b"A?\n") == b"1.25"


def test_peer_that_closes_in_place_of_an_answer_is_no_timeout(server: StandIn) -> None:
    spec = InstrumentSpec("meter", "voltmeter", "x", server.address, timeout_s=10.0)
    session = Session(spec)
    session.open()
    server.special["A?"] = hang_up
    start = time.monotonic()
    with pytest.raises(Unreachable, match=r"closed|reset"):
        session.query(b"A?\n")
    assert time.monotonic() - start < 2.0
    assert session.query(b"B?\n") == b"2.5"
    session.close()


def test_answer_before_the_peer_closes_still_counts(server: StandIn, session: Session) -> None:
    def answer_and_close(_: StandIn, connection: socket.socket, __: str) -> None:
        connection.sendall(b"1.25\n")
        connection.shutdown(socket.SHUT_WR)

    server.special["A?"] = answer_and_close
    assert session.query(b"A?\n") == b"1.25"
    time.sleep(0.05)
    with pytest.raises(Unreachable):
        session.query(b"B?\n")


def test_refused_connection_is_found_at_once() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # bound, not listening: refuses, and nobody else gets it
        address = f"TCPIP0::127.0.0.1::{taken.getsockname()[1]}::SOCKET"
        session = Session(InstrumentSpec("meter", "voltmeter", "x", address))
        start = time.monotonic()
        with pytest.raises(Unreachable, match=f"meter at {address}.*power.*cable"):
            session.open()
        assert time.monotonic() - start < 1.0


@pytest.mark.parametrize("address", ["nonsense", "TCPIP0::[::1]::5025::SOCKET", "USB0::1::2"])
def test_bad_address_is_told_with_an_example(address: str) -> None:
    with pytest.raises(Unreachable, match=r"not a VISA resource name.*TCPIP0::192\.0\.2\.7::5025"):
        Session(InstrumentSpec("meter", "voltmeter", "x", address)).open()


def test_unknown_host_is_unreachable() -> None:
    address = "TCPIP0::no-such-host.invalid::5025::SOCKET"
    with pytest.raises(Unreachable, match=r"could not be opened"):
        Session(InstrumentSpec("meter", "voltmeter", "x", address)).open()


def test_wrong_identity_is_refused(server: StandIn) -> None:
    spec = InstrumentSpec("meter", "voltmeter", "x", server.address, identity="VOLTMETER-A")
    with pytest.raises(WrongIdentity, match=r"'VOLTMETER-A' was expected.*STAND-IN"):
        Session(spec).open()


def test_swapped_instrument_is_recognised_when_reopening(server: StandIn, session: Session) -> None:
    server.answers["*IDN?"] = "WORKSHOP,SOMETHING-ELSE,SIM0002,1.0"
    server.hang_up()
    time.sleep(0.05)
    with pytest.raises(Unreachable):
        session.query(b"A?\n")
    for _ in range(2):  # and it stays refused
        with pytest.raises(WrongIdentity, match=r"SOMETHING-ELSE"):
            session.query(b"A?\n")
    assert "A?" not in server.log


def test_restarted_server_is_reached_again(server: StandIn, session: Session) -> None:
    port = server.port
    server.close()
    with pytest.raises(Unreachable):
        session.query(b"A?\n")
    with pytest.raises(Unreachable, match=r"could not be opened"):
        session.query(b"A?\n")
    with StandIn(port=port) as again:
        again.answers["A?"] = "7"
        assert session.query(b"A?\n") == b"7"
        session.close()


def test_non_ascii_answer_is_kept_for_the_message_and_refused(
    server: StandIn, session: Session
) -> None:
    server.special["NAME?"] = send(b"caf\xe9\n")
    with pytest.raises(DamagedAnswer) as caught:
        session.query_text(b"NAME?\n")
    assert caught.value.answer == "caf\xe9"
    assert session.query(b"B?\n") == b"2.5"


def test_terminator_mismatch_is_an_error(server: StandIn, events: list[str]) -> None:
    session = make(server, events, manners=Link(read_terminator="\r\n"))
    with pytest.raises(DamagedAnswer, match=r"must end in"):
        session.open()


def test_two_character_terminator(server: StandIn, events: list[str]) -> None:
    server.terminator = b"\r\n"
    session = make(server, events, manners=Link(read_terminator="\r\n"))
    session.open()
    assert session.query(b"A?\n") == b"1.25"
    session.close()


def test_message_gets_exactly_one_terminator(session: Session) -> None:
    assert session.encode("A?") == session.encode("A?\n") == b"A?\n"


def test_question_left_open_is_never_answered_to_another(session: Session) -> None:
    session.ask(b"A?\n")  # and whoever asked was interrupted before collecting
    assert session.query(b"B?\n") == b"2.5"
    assert session.reopened == 1


def test_collecting_without_asking_is_refused(session: Session) -> None:
    with pytest.raises(InstrumentError, match=r"no question is open"):
        session.collect(0.1)


def test_another_thread_is_refused(session: Session) -> None:
    caught: list[Exception] = []

    def use() -> None:
        try:
            session.query(b"A?\n")
        except InstrumentError as error:
            caught.append(error)

    thread = threading.Thread(target=use)
    thread.start()
    thread.join()
    assert "another thread" in str(caught[0])
    assert session.query(b"A?\n") == b"1.25"


def tell_often(session: Session, line: bytes) -> None:
    for _ in range(5000):  # 20 MB: more than any buffer on the way
        session.tell(line)


def test_peer_that_stops_reading_does_not_block_a_write(server: StandIn) -> None:
    stop = threading.Event()

    def stop_reading(_: StandIn, __: socket.socket, ___: str) -> None:
        stop.wait(20)

    spec = InstrumentSpec("meter", "voltmeter", "x", server.address, timeout_s=TIMEOUT_S)
    session = Session(spec)
    session.open()
    session._link._wire._timeout_s = 0.3  # type: ignore[union-attr]  # the test need not take 5 s
    server.special["STOP"] = stop_reading
    session.tell(b"STOP\n")
    line = b"X" * 4000 + b"\n"
    start = time.monotonic()
    with pytest.raises(InstrumentError):
        tell_often(session, line)
    assert time.monotonic() - start < 8.0
    stop.set()
    session.close()


def test_keepalive_and_no_delay_are_set_on_the_socket(session: Session) -> None:
    connection = session._link._wire.socket  # type: ignore[union-attr]
    assert connection is not None, "pyvisa-py no longer shows its socket as 'interface'"
    assert connection.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) == 1
    assert connection.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE) == 1
    assert connection.getsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE) <= 60
    assert hasattr(session._link._wire._session, "_pending_buffer")  # type: ignore[union-attr]


def test_reopening_leaves_nothing_in_the_library(session: Session) -> None:
    library: Any = resource_manager("@py").visalib

    def sizes() -> tuple[int, ...]:
        return (
            len(library.sessions),
            len(library._last_status_in_session),
            len(library._ignore_warning_in_session),
        )

    before = sizes()
    for _ in range(20):
        session.close()
        session.open()
    assert sizes() == before
    assert session.reopened == 20


def test_close_from_another_thread_is_an_instrument_error(
    server: StandIn, session: Session
) -> None:
    server.special["A?"] = silent
    threading.Timer(0.05, session.close).start()
    with pytest.raises(InstrumentError):
        session.query(b"A?\n")


def test_failed_state_check_after_reopening_keeps_the_session_unusable(
    server: StandIn, session: Session
) -> None:
    def wrong() -> None:
        raise ValueError("state lost")

    session.on_reopened = wrong
    server.hang_up()
    time.sleep(0.05)
    with pytest.raises(Unreachable):
        session.query(b"A?\n")
    for _ in range(2):
        with pytest.raises(ValueError, match=r"state lost"):
            session.query(b"A?\n")
    assert "A?" not in server.log


@pytest.mark.parametrize("step_s", [3600.0, -3600.0])
def test_stepping_the_wall_clock_changes_no_time_out(
    server: StandIn, session: Session, monkeypatch: pytest.MonkeyPatch, step_s: float
) -> None:
    session.query(b"A?\n")
    stepped = count()

    def wall() -> float:
        return 1e9 + step_s * next(stepped)

    monkeypatch.setattr("pyvisa_py.tcpip.time", SimpleNamespace(time=wall))
    server.special["A?"] = late(0.1, b"1.25\n")
    assert session.query(b"A?\n") == b"1.25"
    server.special["B?"] = cut(b"2.", 0.1, b"5\n")
    assert session.query(b"B?\n") == b"2.5"
    server.special["B?"] = cut(b"2.", 1.0, b"5\n")
    start = time.monotonic()
    with pytest.raises(DamagedAnswer):
        session.query(b"B?\n")
    assert time.monotonic() - start < TIMEOUT_S + 0.2


def test_long_answer_in_many_pieces_is_whole(server: StandIn, session: Session) -> None:
    long = ",".join(str(number) for number in range(60_000))
    server.answers["LIST?"] = long
    assert session.query(b"LIST?\n", timeout_s=5.0) == long.encode()
    assert session.query(b"A?\n") == b"1.25"
