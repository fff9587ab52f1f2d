"""The served bench, asked by a client that shares no code with us: lxi-tools out of Debian.

lxi-tools 2.4-1 (Debian 12), ``lxi scpi --raw``: SCPI over a raw TCP socket.
"""

import json
import shutil
import subprocess
import sys
from collections.abc import Iterator

import pytest

CLIENT = shutil.which("lxi")

pytestmark = [
    pytest.mark.external,
    pytest.mark.skipif(CLIENT is None, reason="needs Debian's lxi-tools"),
]


@pytest.fixture(scope="module")
def ports() -> Iterator[dict[str, int]]:
    words = [sys.executable, "-m", "simulated_bench", "serve", "--until-stdin-closes"]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as bench:
        assert bench.stdout is not None
        assert bench.stdin is not None
        where = json.loads(bench.stdout.readline())["instruments"]
        yield {name: int(address.split("::")[2]) for name, address in where.items()}
        bench.stdin.close()


def ask(port: int, message: str) -> str:
    words = ["lxi", "scpi", "--address", "127.0.0.1", "--port", str(port), "--raw", message]
    done = subprocess.run(words, capture_output=True, text=True, check=True, timeout=20)
    return done.stdout.strip()


def test_every_instrument_says_what_it_is(ports: dict[str, int]) -> None:
    for port in ports.values():
        assert len(ask(port, "*IDN?").split(",")) == 4


def test_settings_stay_and_readings_are_numbers(ports: dict[str, int]) -> None:
    port = ports["voltmeter_sense"]
    assert ask(port, "VOLT:RANG 10") == ""
    assert float(ask(port, "VOLT:RANG?")) == 10.0
    assert abs(float(ask(port, "MEAS:VOLT:DC?"))) < 0.01  # the output is off
    assert ask(port, "NOTH:ING") == ""
    assert ask(port, "SYST:ERR?").startswith("-113,")
