"""Whole acceptance runs over other roads than raw sockets: serial ports and HiSLIP."""

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from called import steadyrail

APART = Path(__file__).parents[2] / "profiles/benches/simulated-apart.toml"
INSTRUMENTS = tuple(re.findall(r"^\[instruments\.(\w+)\]", APART.read_text(), re.MULTILINE))


def acceptance_over(road: str, folder: Path) -> dict[str, Any]:
    words = [f"--pty={name}" for name in INSTRUMENTS] if road == "serial" else ["--hislip=0"]
    with subprocess.Popen(
        [sys.executable, "-m", "simulated_bench", "serve", "--until-stdin-closes", *words],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as server:
        assert server.stdout is not None
        assert server.stdin is not None
        bench = APART.read_text()
        for name, address in json.loads(server.stdout.readline())[road].items():
            old = rf"(\[instruments\.{name}\][^\[]*?address = )\"[^\"]*\""
            bench, count = re.subn(old, rf'\1"{address}"', bench)
            assert count == 1
        (folder / "bench.toml").write_text(bench)
        done = steadyrail(
            *("run", "acceptance", "--bench", "bench.toml", "--cautions-read", "--json"),
            *("--record", "run.sqlite"),
            cwd=folder,
        )
        server.stdin.close()
        server.wait(10)
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize("road", ["serial", "hislip"])
def test_acceptance_passes_over(road: str, tmp_path: Path) -> None:
    result = acceptance_over(road, tmp_path)
    assert result["outcome"] == "pass"
    assert {verdict["verdict"] for verdict in result["verdicts"]} == {"pass"}
    assert not [e for e in result["events"] if e["severity"] == "alarm"]
