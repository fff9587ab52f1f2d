"""A run over each road to the bench ends in the same figures: sockets, HiSLIP, VXI-11, serial.

The whole acceptance run takes about a minute a road::

    pytest tests/simulated_bench/test_server_roads.py -m slow
"""

import json
import subprocess
import sys
from itertools import cycle
from pathlib import Path

import pytest
from rude import SERVE

PROFILES = Path(__file__).parents[2] / "profiles"
NAMES = (
    *("clock", "voltmeter_sense", "voltmeter_load", "voltmeter_shunt", "voltmeter_terminals"),
    *("load", "thermometer", "person"),
)
ONE_TRIAL = """
[profile]
name = "one trial"
unit = "w-17"
bench = "simulated"

[outputs]
report = false

[[trials]]
trial = "sense_check"
voltage = "30 V"
current = "3 A"
fractions = ["50 %", "100 %"]
repeats = 2
readings = 2
"""


def bench_document(addresses: dict[str, str]) -> str:
    """Return the shipped bench's document, but with addresses: the run does not start it."""
    text = (PROFILES / "benches" / "simulated.toml").read_text()
    started, rest = text.split("[simulation]\n")
    text = started + rest[rest.index("[instruments.") :]
    for name in NAMES:
        head = f"[instruments.{name}]\n"
        assert head in text
        text = text.replace(head, f'{head}address = "{addresses[name]}"\n')
    return text


def figures(road: str, profile: str, where: Path) -> dict[str, float]:
    """Run a profile over a road and return its figures' values.

    The road "mixed" leads to the instruments over HiSLIP, serial lines and VXI-11 in turn.
    """
    words = [*SERVE, *(word for name in NAMES for word in ("--pty", name))]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as bench:
        assert bench.stdin is not None
        assert bench.stdout is not None
        document = where / f"{road}.toml"
        said = json.loads(bench.stdout.readline())
        in_turn = zip(NAMES, cycle(("serial", "hislip", "vxi11")), strict=False)
        said["mixed"] = {name: said[of][name] for name, of in in_turn}
        document.write_text(bench_document(said[road]))
        run = [sys.executable, "-m", "sequencer.command_line.app", "run", profile]
        wanted = (f"--bench={document}", f"--record={where / road}.sqlite")
        done = subprocess.run(
            [*run, *wanted, "--cautions-read", "--json"],
            capture_output=True,
            text=True,
            check=False,
        )
        bench.stdin.close()
        assert bench.wait(30) == 0
    assert done.returncode in {0, 3}, done.stderr
    found = json.loads(done.stdout)["figures"]
    return {f"{one['trial']} {one['name']}": one["value"] for one in found}


def test_hislip_vxi11_and_serial_lines_give_the_figures_that_sockets_give(tmp_path: Path) -> None:
    profile = tmp_path / "one-trial.toml"
    profile.write_text(ONE_TRIAL)
    by_socket = figures("instruments", str(profile), tmp_path)
    assert len(by_socket) >= 3
    assert figures("mixed", str(profile), tmp_path) == by_socket


@pytest.mark.slow
@pytest.mark.timeout(900)
def test_a_whole_acceptance_run_gives_the_same_figures_over_every_road(tmp_path: Path) -> None:
    by_socket = figures("instruments", "acceptance", tmp_path)
    assert len(by_socket) >= 8
    assert figures("hislip", "acceptance", tmp_path) == by_socket
    assert figures("vxi11", "acceptance", tmp_path) == by_socket
    assert figures("serial", "acceptance", tmp_path) == by_socket
