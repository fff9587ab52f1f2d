"""A terminal or a pipe that stands still holds nobody who has a bench to make safe."""

import os
import re
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
from bench_apart import PROFILE, SAFE_WITHIN_S, apart, committed, events
from forks import STEADYRAIL, Started, forks
from kills import wait_for

from sequencer.run.event_kinds import STOPPED
from sequencer.steady import LAST_WAIT_S

RECORD = "run.sqlite"
TRIPS = '\n[guards."temperature.heatsink"]\nat_most = "26 °C"\n'


@contextmanager
def full_pipe(path: Path) -> Iterator[None]:
    """Make a pipe with a reader that reads nothing, and that holds no more byte."""
    os.mkfifo(path)
    reader = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    writer = os.open(path, os.O_WRONLY | os.O_NONBLOCK)
    try:
        with suppress(BlockingIOError):
            while True:
                os.write(writer, b"." * 4096)
        yield
    finally:
        os.close(writer)
        os.close(reader)


def start(folder: Path, *words: str) -> Started:
    return forks().start(
        STEADYRAIL,
        *words,
        folder=folder,
        out=folder / "out.txt",
        errors=folder / "pipe",
        environment={"STEADYRAIL_STATE": str(folder / "locks")},
    )


WORDS = ("run", "profile.toml", "--record", RECORD, "--json", "--cautions-read")


@pytest.mark.parametrize("ends", ["SIGTERM", "SIGKILL"])
def test_a_signal_is_heeded(tmp_path: Path, ends: str) -> None:
    with apart(tmp_path) as table, full_pipe(tmp_path / "pipe"):
        process = start(tmp_path, *WORDS)
        record = tmp_path / RECORD
        wait_for(lambda: record.exists() and len(committed(record)) > 300)
        sent = time.monotonic()
        os.kill(process.pid, signal.Signals[ends])
        assert table.seconds_to_safe(sent) < SAFE_WITHIN_S
        if ends == "SIGTERM":
            assert process.wait(SAFE_WITHIN_S + 3 * LAST_WAIT_S) == 130
            assert (tmp_path / "out.txt").read_text().startswith("{")
        wait_for(lambda: not table.guardians())


def test_a_guard_ends_the_run_itself(tmp_path: Path) -> None:
    with apart(tmp_path, profile=PROFILE + TRIPS) as table, full_pipe(tmp_path / "pipe"):
        process = start(tmp_path, *WORDS)
        assert process.wait() == 4
        assert table.without_energy()
        (text,) = [text for kind, text in events(tmp_path / RECORD) if kind == STOPPED]
        assert "temperature.heatsink" in text
        assert not (tmp_path / f"{RECORD}.guardian.txt").exists(), "the guardian had to end it"


def test_a_failed_start_makes_safe(tmp_path: Path) -> None:
    with apart(tmp_path) as table, full_pipe(tmp_path / "pipe"):
        table.ask("person", 'OPERator:INSTruct "Switch the output on.";STATe?')
        table.ask("clock", "CLOCk:ADVance 60;TIME?")
        assert table.ask("load", "CURRent 1;INPut ON;INPut?") == "1"
        place = tmp_path / "bench.toml"
        lost = table.addresses["thermometer"]
        place.write_text(place.read_text().replace(lost, re.sub(r"::\d+::", "::9::", lost)))
        process = start(tmp_path, *WORDS)
        assert process.wait() == 5
        assert table.without_energy()
