"""Whoever reads a run's output may go away: the run and its exit code stand."""

import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

from sequencer.command_line.steady import Steady

SPEAKS = """
import sys
from sequencer.command_line.steady import messages, results, tell_program
sys.stdin.readline()
console, last = messages(), results()
for _ in range(3):
    console.print("a word")
    last.print("a result")
    tell_program("{}")
sys.exit(7)
"""


@pytest.mark.parametrize("gone", ["stdout", "stderr", "both"])
def test_a_program_ends_with_its_own_exit_code_when_nobody_reads(gone: str) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", SPEAKS],
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
