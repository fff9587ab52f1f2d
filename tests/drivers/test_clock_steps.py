"""The computer's clock steps while an instrument is waited for: no link ends early or waits on."""

import os
import pty
import threading
import time
import tty
from collections.abc import Iterator

import pytest

from drivers.errors import NoAnswer
from drivers.roles import InstrumentSpec
from drivers.session import Session

TIMEOUT_S = 0.6
LATE_S = 0.25
HOUR_S = 3600.0
IDENTITY = b"WORKSHOP,STAND-IN,SIM0001,1.0\n"


def answers(port: int) -> None:
    """Answer identities at once, "LATE?" after a while, and nothing else."""
    buffer = b""
    while True:
        try:
            buffer += os.read(port, 4096)
        except OSError:
            return
        *lines, buffer = buffer.split(b"\n")
        for line in lines:
            if line == b"*IDN?":
                os.write(port, IDENTITY)
            elif line == b"LATE?":
                time.sleep(LATE_S)
                os.write(port, b"1.5\n")


@pytest.fixture
def line() -> Iterator[Session]:
    port, far = pty.openpty()
    tty.setraw(far)
    threading.Thread(target=answers, args=(port,), daemon=True).start()
    address = f"ASRL{os.ttyname(far)}::INSTR"
    session = Session(InstrumentSpec("m", "voltmeter", "x", address, timeout_s=TIMEOUT_S))
    session.query(b"*IDN?\n")
    yield session
    session.close()
    os.close(far)


@pytest.fixture(params=[HOUR_S, -HOUR_S], ids=["forward", "back"])
def stepped(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the wall clock jump by an hour at its second and every later reading."""
    real, asked = time.time, [0]

    def stepping() -> float:
        asked[0] += 1
        return real() + (request.param if asked[0] > 1 else 0.0) * asked[0]

    monkeypatch.setattr(time, "time", stepping)


@pytest.mark.usefixtures("stepped")
def test_an_answer_on_a_serial_line_is_still_waited_for(line: Session) -> None:
    assert line.query(b"LATE?\n") == b"1.5"


@pytest.mark.usefixtures("stepped")
def test_silence_on_a_serial_line_still_ends_in_time(line: Session) -> None:
    begun = time.monotonic()
    with pytest.raises(NoAnswer):
        line.query(b"SILENT?\n")
    assert TIMEOUT_S <= time.monotonic() - begun < 10.0
