"""Every single answer late past the time-out, or cut in half: no answer is ever another's."""

import socket
import time
from collections.abc import Callable

import pytest
from stand_in import StandIn

from drivers.errors import DamagedAnswer, InstrumentError, NoAnswer
from drivers.roles import InstrumentSpec
from drivers.session import Session

TIMEOUT_S = 0.04
DELAY_S = 0.5
"""So late that a busy machine can not make it seem in time."""

QUESTIONS = 25

Manner = Callable[[socket.socket, bytes], None]


def late(connection: socket.socket, answer: bytes) -> None:
    time.sleep(DELAY_S)
    connection.sendall(answer)


def cut(connection: socket.socket, answer: bytes) -> None:
    connection.sendall(answer[: len(answer) // 2])
    time.sleep(DELAY_S)
    connection.sendall(answer[len(answer) // 2 :])


class Always(StandIn):
    """Answers every "N? k" with k in one manner of misbehaving, and all else as it should."""

    def __init__(self, manner: Manner) -> None:
        super().__init__()
        self._manner = manner

    def _handle(self, connection: socket.socket, line: str) -> None:
        if line.startswith("N? "):
            self._manner(connection, line[3:].encode() + b"\n")
        else:
            super()._handle(connection, line)


@pytest.mark.parametrize(("manner", "kind"), [(late, NoAnswer), (cut, DamagedAnswer)])
def test_no_answer_is_taken_for_another_question_s(
    manner: Manner, kind: type[InstrumentError]
) -> None:
    with Always(manner) as server:
        spec = InstrumentSpec("m", "voltmeter", "x", server.address, timeout_s=TIMEOUT_S)
        session = Session(spec)
        identities = 0
        for number in range(100_000, 100_000 + QUESTIONS):
            with pytest.raises(kind):
                session.query(b"N? %d\n" % number)
            # A question that is answered as it should be gets its own answer, over a new link.
            assert session.query(b"*IDN?\n") == b"WORKSHOP,STAND-IN,SIM0001,1.0"
            identities += 1
        assert session.reopened == identities == QUESTIONS
        session.close()
