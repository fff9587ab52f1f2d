"""VXI-11 links that fail: an error in the time that was given, and another link at once."""

import json
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from drivers.errors import DamagedAnswer, InstrumentError, NoAnswer, Unreachable
from drivers.link import resource_manager
from drivers.roles import InstrumentSpec
from drivers.session import Session
from drivers.vxi11_wire import is_vxi11

TIMEOUT_S = 0.3
AT_MOST_S = 2.0
"""Far below the seconds for which pyvisa-py waits for a peer that has gone, on a busy machine."""

SCENARIO = """
name = "controlled"
description = "With the control instrument"
based_on = "healthy"
[instruments.control]
"""


class Served:
    def __init__(self, process: "subprocess.Popen[bytes]") -> None:
        assert process.stdout is not None
        self.process = process
        said = json.loads(process.stdout.readline())
        self.at = said["vxi11"]["voltmeter_sense"]
        self._control = said["instruments"]["control"].split("::")[1:3]

    def tell(self, message: str) -> None:
        host, port = self._control
        with closing(socket.create_connection((host, int(port)), 5.0)) as link:
            link.sendall(f"{message};*OPC?\n".encode())
            assert link.recv(10) == b"1\n"


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    scenario: Path = tmp_path_factory.mktemp("vxi11") / "controlled.toml"
    scenario.write_text(SCENARIO)
    words = ["serve", "--scenario", str(scenario), "--until-stdin-closes", "--vxi11", "0"]
    with subprocess.Popen(
        [sys.executable, "-m", "simulated_bench", *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as process:
        yield Served(process)
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(10) == 0


@pytest.fixture
def served(running: Served) -> Served:
    running.tell("FAULt:CLEar")
    return running


@pytest.fixture
def session(served: Served) -> Iterator[Session]:
    one = Session(InstrumentSpec("meter", "voltmeter", "x", served.at, timeout_s=TIMEOUT_S))
    one.open()
    yield one
    one.close()


@pytest.mark.parametrize(
    ("what", "kind"),
    [
        ("no answer", NoAnswer),
        ("late answer", NoAnswer),
        ("half an answer", NoAnswer),
        ("closed connection", Unreachable),
        ("refused reconnect", Unreachable),
    ],
)
def test_a_link_that_fails_is_an_error_in_time_and_the_next_question_gets_its_own_answer(
    served: Served, session: Session, what: str, kind: type[InstrumentError]
) -> None:
    fault = f"instrument = 'voltmeter_sense', what = '{what}', after_queries = 0"
    served.tell(f'FAULt:ADD "{fault}"')
    start = time.monotonic()
    with pytest.raises(kind):
        session.query(b"VOLTage:RANGe?\n")
    served.tell("FAULt:CLEar")
    assert session.query(b"VOLTage:APERture?\n") == b"+1.000000000E-01"
    assert time.monotonic() - start < AT_MOST_S
    assert session.reopened == 1


def test_garbage_is_refused_or_visible(served: Served, session: Session) -> None:
    served.tell("FAULt:ADD \"instrument = 'voltmeter_sense', what = 'garbage', after_queries = 0\"")
    with pytest.raises(DamagedAnswer):
        session.query_text(b"VOLTage:RANGe?\n", TIMEOUT_S)
    assert session.query(b"VOLTage:RANGe?\n") == b"+4.000000000E+01"


def test_a_program_that_hangs_is_left_without_waiting_for_its_farewell(
    served: Served, session: Session
) -> None:
    served.process.send_signal(signal.SIGSTOP)
    try:
        start = time.monotonic()
        with pytest.raises(InstrumentError):  # the library adds a second to the time that is given
            session.query(b"VOLTage:RANGe?\n")
        assert time.monotonic() - start < 2 * (TIMEOUT_S + 1.0) + AT_MOST_S
        start = time.monotonic()
        session.close()
        assert time.monotonic() - start < TIMEOUT_S
    finally:
        served.process.send_signal(signal.SIGCONT)


def test_the_library_s_session_is_the_one_that_this_knows(served: Served) -> None:
    manager = resource_manager("@py")
    handle, _ = manager.open_bare_resource(served.at)
    library = manager.visalib
    assert is_vxi11(library.sessions[handle])  # type: ignore[attr-defined]  # pyvisa-py's own
    library.close(handle)
