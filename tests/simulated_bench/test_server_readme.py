"""The README's script against `steadyrail simulate`, both as they are printed but for the ports."""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

README = Path(__file__).parents[2] / "README.md"
SIMULATE = (sys.executable, "-m", "sequencer.command_line.app", "simulate")
FIRST = 5025


def printed() -> str:
    scripts = re.findall(r"```python\n(import pyvisa.*?)```", README.read_text(), re.DOTALL)
    assert len(scripts) == 1
    return str(scripts[0])


@contextmanager
def served_in_a_row() -> Iterator[int]:
    """Serve the bench as the README does; yield its first port.

    Tests run beside each other, and any of them may be given a port of the row between a look at
    it and its use.  So the bench itself tries, until it finds eight in a row that are free.
    """
    for first in range(20025, 32000, 100):
        with subprocess.Popen(
            [*SIMULATE, "--port", str(first)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            stdin=subprocess.DEVNULL,
            text=True,
        ) as bench:
            assert bench.stdout is not None
            assert bench.stderr is not None
            said = bench.stdout.readline()
            if not said:
                assert "Address already in use" in bench.stderr.read()
                continue
            try:
                assert json.loads(said)["ready"]
                yield first
            finally:
                bench.terminate()
                bench.wait(10)
            return
    pytest.fail("no eight ports in a row are free")


def test_the_script_in_the_readme_runs() -> None:
    with served_in_a_row() as first:
        script = re.sub(r"\b50[23]\d\b", lambda port: str(int(port[0]) - FIRST + first), printed())
        assert str(first) in script
        done = subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            text=True,
            timeout=30,
            check=True,
        )
    identity, volts, seconds = done.stdout.split()
    assert identity.startswith("WORKSHOP,VOLTMETER-SENSE,")
    assert abs(float(volts) - 30.0) < 0.1
    assert float(seconds) > 60.0


def test_the_script_in_the_readme_is_about_ten_lines() -> None:
    assert len([line for line in printed().splitlines() if line.strip()]) <= 10


def test_the_bench_ends_with_the_program_that_serves_it() -> None:
    with subprocess.Popen(
        [*SIMULATE, "--port", "0", "--hislip", "0", "--serial", "load"],
        stdout=subprocess.PIPE,
        stdin=subprocess.DEVNULL,
    ) as bench:
        assert bench.stdout is not None
        said = json.loads(bench.stdout.readline())
        assert list(said["hislip"]) == list(said["instruments"])
        assert list(said["serial"]) == ["load"]
        bench.kill()
        assert bench.stdout.read() == b""  # ends only when the bench, which has it too, has ended
