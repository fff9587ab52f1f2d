"""Whoever reads a run's output may go away: the run and its exit code stand."""

import io
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from sequencer.steady import LAST_WAIT_S, MOST_BYTES, Aside, Steady

SPEAKS = """
import sys
from sequencer.command_line.steady import messages, tell
from sequencer.steady import tell_program
sys.stdin.readline()
with messages() as console:
    for _ in range(3):
        console.print("a word" * int(sys.argv[1]))
        assert tell(lambda last: last.print("a result")) == ""
        assert tell_program("{}") == ""
sys.exit(7)
"""


@pytest.mark.parametrize("gone", ["stdout", "stderr", "both"])
def test_a_program_ends_with_its_own_exit_code_when_nobody_reads(gone: str) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", SPEAKS, "1"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    assert process.stderr is not None
    with process:
        closed = {"stdout": (process.stdout,), "stderr": (process.stderr,)}
        for pipe in closed.get(gone, (process.stdout, process.stderr)):
            pipe.close()
        process.stdin.write(b"\n")
        process.stdin.flush()
        rest = process.stderr if gone == "stdout" else process.stdout
        if not rest.closed:
            assert b"Traceback" not in rest.read()
        assert process.wait(30) == 7


def test_it_is_the_stream_in_all_else() -> None:
    stream = io.StringIO()
    steady = Steady(stream)
    assert steady.write("a word") == len("a word")
    steady.flush()
    assert stream.getvalue() == "a word"
    assert steady.isatty() is False


def test_a_pipe_that_nobody_reads_becomes_nothing() -> None:
    reads, writes = os.pipe()
    with os.fdopen(writes, "w") as stream:
        os.close(reads)
        steady = Steady(stream)
        steady.write("a word")
        steady.flush()
        assert Path(f"/proc/self/fd/{stream.fileno()}").readlink() == Path(os.devnull)
        stream.flush()  # nothing is left to fail


def test_a_pipe_that_stands_still_holds_nobody_and_ends_with_the_program() -> None:
    reads, writes = os.pipe()
    try:
        began = time.monotonic()
        done = subprocess.run(
            [sys.executable, "-c", SPEAKS, str(MOST_BYTES)],
            input=b"\n",
            stdout=subprocess.PIPE,
            stderr=writes,
            timeout=60,
            check=False,
        )
        assert done.returncode == 7
        assert done.stdout.count(b"{}") == 3
        assert time.monotonic() - began > LAST_WAIT_S, "the words were given up too early"
    finally:
        os.close(reads)
        os.close(writes)


def test_the_newest_words_are_kept_for_whoever_reads_again() -> None:
    reads, writes = os.pipe()
    with os.fdopen(writes, "w") as stream, os.fdopen(reads, "rb") as reader:
        aside = Aside(stream)
        for number in range(200):
            aside.write(f"{number:04d}" + "." * 4092)
        said = b""
        while b"0199" not in said:
            said += reader.read1(1 << 20)
        aside.drain()
        kept = [int(word) for word in said.decode().replace(".", " ").split()]
        assert kept == sorted(kept)
        assert kept[-MOST_BYTES // 4096 :] == list(range(200 - MOST_BYTES // 4096, 200))
        assert len(kept) < 200


def test_a_full_disk_is_said_once_and_changes_no_exit_code() -> None:
    code = (
        "import sys\n"
        "from sequencer.steady import tell_program\n"
        "print(tell_program('{}'), file=sys.stderr)\n"
        "sys.exit(3)\n"
    )
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", code], stdout=full, stderr=subprocess.PIPE, check=False
        )
    assert done.returncode == 3
    assert done.stderr == b"No space left on device\n"
