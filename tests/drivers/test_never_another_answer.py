"""Whatever a link does, an answer that is returned belongs to the question that was asked.

One thing can't be told apart on a raw socket: an instrument that answers once more, of its own
accord, after the next question was sent. That is found one question later, see `test_session.py`.
"""

import random
import socket
import time

import pytest
from stand_in import StandIn, late

from drivers.errors import InstrumentError
from drivers.roles import InstrumentSpec
from drivers.session import Session

TIMEOUT_S = 0.03
QUESTIONS = 120


class Unruly(StandIn):
    """Answers "N? k" with k, but late, in halves, twice, not at all, or hangs up, by chance."""

    def __init__(self, generator: random.Random) -> None:
        super().__init__()
        self._generator = generator

    def _handle(self, connection: socket.socket, line: str) -> None:
        if not line.startswith("N? "):
            super()._handle(connection, line)
            return
        answer = line[3:].encode() + b"\n"
        middle = self._generator.randrange(1, len(answer))
        delay_s = self._generator.choice([0.5, 0.95, 1.05, 1.5]) * TIMEOUT_S
        match self._generator.randrange(9):
            case 0:
                time.sleep(delay_s)
                connection.sendall(answer)
            case 1:
                connection.sendall(answer[:middle])
                time.sleep(delay_s)
                connection.sendall(answer[middle:])
            case 2:
                connection.sendall(answer + answer)
            case 3:
                pass
            case 4:
                connection.sendall(answer[:middle])
                self.hang_up()
            case _:
                connection.sendall(answer)


@pytest.mark.parametrize("seed", range(4))
def test_returned_answers_belong_to_their_questions(seed: int) -> None:
    right = failed = 0
    with Unruly(random.Random(seed)) as server:  # noqa: S311 - no secret, but a fixed seed
        session = Session(
            InstrumentSpec("m", "voltmeter", "x", server.address, timeout_s=TIMEOUT_S)
        )
        for number in range(100_000, 100_000 + QUESTIONS):
            try:
                answer = session.query(b"N? %d\n" % number)
            except InstrumentError:
                failed += 1
                continue
            assert answer == b"%d" % number
            right += 1
        session.close()
    assert right > QUESTIONS / 4
    assert failed > QUESTIONS / 20
    assert session.reopened > 0


def test_a_session_that_is_used_again_after_a_timeout_would_be_caught() -> None:
    """The check above can fail: without closing, the late answer is the next one's."""
    with StandIn() as server:
        server.special["N? 1"] = late(2 * TIMEOUT_S, b"1\n")
        server.answers["N? 2"] = "2"
        with socket.create_connection(("127.0.0.1", server.port)) as bare:
            bare.settimeout(TIMEOUT_S)
            bare.sendall(b"N? 1\n")
            with pytest.raises(TimeoutError):
                bare.recv(10)
            bare.settimeout(1.0)
            bare.sendall(b"N? 2\n")
            assert bare.recv(2) == b"1\n"
