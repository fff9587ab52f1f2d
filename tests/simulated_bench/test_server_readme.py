"""The README's script against `steadyrail simulate`, both as they are printed but for the ports."""

import json
import re
import socket
import subprocess
import sys
from pathlib import Path

README = Path(__file__).parents[2] / "README.md"
SIMULATE = (sys.executable, "-m", "sequencer.command_line.app", "simulate")
FIRST = 5025


def printed() -> str:
    scripts = re.findall(r"```python\n(import pyvisa.*?)```", README.read_text(), re.DOTALL)
    assert len(scripts) == 1
    return str(scripts[0])


def a_row_of_free_ports(many: int) -> int:
    """Return the first of them; tests run beside each other, so that 5025 may be taken."""
    while True:
        with socket.create_server(("127.0.0.1", 0)) as first:
            port = int(first.getsockname()[1])
        try:
            for offset in range(many):
                socket.create_server(("127.0.0.1", port + offset)).close()
        except OSError:
            continue
        return port


def test_the_script_in_the_readme_runs() -> None:
    first = a_row_of_free_ports(8)
    script = re.sub(r"\b50[23]\d\b", lambda port: str(int(port[0]) - FIRST + first), printed())
    assert str(first) in script
    with subprocess.Popen(
        [*SIMULATE, "--port", str(first)], stdout=subprocess.PIPE, stdin=subprocess.DEVNULL
    ) as bench:
        try:
            assert bench.stdout is not None
            assert json.loads(bench.stdout.readline())["ready"]
            done = subprocess.run(
                [sys.executable, "-c", script],
                capture_output=True,
                text=True,
                timeout=30,
                check=True,
            )
        finally:
            bench.terminate()
            bench.wait(10)
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
