"""Quirks of the link that a dialect names: echo, pauses, a slow first answer, remote control."""

import socket
import time
from collections.abc import Iterator

import pytest
from stand_in import StandIn, late, send

from drivers.dialect import Link
from drivers.errors import DamagedAnswer
from drivers.roles import InstrumentSpec
from drivers.session import Session

TIMEOUT_S = 0.3
LATE_S = 0.6


class Console(StandIn):
    """Sends each line back before it answers; `apart` leaves time between the two."""

    apart = False

    def _handle(self, connection: socket.socket, line: str) -> None:
        connection.sendall(line.encode("latin-1") + self.terminator)
        if self.apart:
            time.sleep(0.05)
        super()._handle(connection, line)


@pytest.fixture
def console() -> Iterator[Console]:
    with Console() as server:
        server.answers["A?"] = "1.25"
        yield server


def session(server: StandIn, manners: Link) -> Session:
    spec = InstrumentSpec("meter", "voltmeter", "x", server.address, timeout_s=TIMEOUT_S)
    return Session(spec, manners=manners)


@pytest.mark.parametrize("apart", [False, True])
def test_an_echo_is_taken_off_before_the_answer(console: Console, apart: bool) -> None:
    console.apart = apart
    made = session(console, Link(echo=True))
    made.open()
    made.tell(b"RANGe 10\n")
    assert made.query(b"A?\n") == b"1.25"
    assert made.reopened == 0
    made.close()


def test_an_echo_of_something_else_is_damage(console: Console) -> None:
    made = session(console, Link(echo=True))
    made.open()
    console._handle = lambda connection, _: connection.sendall(b"B?\n1.5\n")  # type: ignore[method-assign]
    with pytest.raises(DamagedAnswer, match="message itself was expected"):
        made.query(b"A?\n")
    made.close()


def test_an_echo_that_the_dialect_does_not_name_is_recognised(console: Console) -> None:
    made = session(console, Link())
    with pytest.raises(DamagedAnswer, match="echo = true"):
        made.open()


def test_messages_keep_their_distance() -> None:
    with StandIn() as server:
        made = session(server, Link(pause=0.05))
        made.open()
        begin = time.monotonic()
        for _ in range(4):
            made.tell(b"RANGe 10\n")
        assert time.monotonic() - begin >= 3 * 0.05
        made.close()


@pytest.mark.parametrize(("patience", "opens"), [(None, False), (5.0, True)])
def test_the_first_answer_may_be_slow(patience: float | None, opens: bool) -> None:
    with StandIn() as server:
        server.special["*IDN?"] = late(LATE_S, b"WORKSHOP,STAND-IN,SIM0001,1.0\n")
        made = session(server, Link(first_answer=patience))
        if opens:
            made.open()
            assert made.identity.startswith("WORKSHOP")
        else:
            with pytest.raises(Exception, match="no answer came in time"):
                made.open()
        made.close()


def test_remote_control_is_taken_after_the_identity_and_given_back_at_the_end() -> None:
    with StandIn() as server:
        made = session(server, Link(on_open=("SYSTem:REMote",), on_close=("SYSTem:LOCal",)))
        made.open()
        made.query(b"*IDN?\n")
        made.close()
        deadline = time.monotonic() + 5
        while len(server.log) < 4 and time.monotonic() < deadline:
            time.sleep(0.01)
        assert server.log == ["*IDN?", "SYSTem:REMote", "*IDN?", "SYSTem:LOCal"]


def test_a_broken_link_is_not_told_goodbye() -> None:
    with StandIn() as server:
        server.special["A?"] = send(b"\xff\n")
        made = session(server, Link(on_open=("SYSTem:REMote",), on_close=("SYSTem:LOCal",)))
        made.open()
        with pytest.raises(DamagedAnswer):
            made.query_text(b"A?\n")
        made.query(b"*IDN?\n")
        assert server.log == ["*IDN?", "SYSTem:REMote", "A?", *["*IDN?", "SYSTem:REMote"], "*IDN?"]
        made.close()
