"""Speed, side by side in one run with what a user would otherwise write; prints ratios.

Run by `make benchmark`. The plain script reads the same channels as often through pyvisa and
writes a CSV file: no record, no guards, no figures, no report.
"""

import csv
import json
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import pyvisa

pytestmark = pytest.mark.slow

BARE = """
import typer
app = typer.Typer()
@app.command()
def first(name: str, count: int = 1) -> None:
    "A command."
@app.command()
def second(name: str) -> None:
    "Another command."
app()
"""

WARM_UP_S, SOAK_S = 1800, 8 * 3600
HELP_ROUNDS = 9


def seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def test_help_costs_at_most_one_and_a_half_times_a_bare_typer_program(tmp_path: Path) -> None:
    bare = tmp_path / "bare.py"
    bare.write_text(BARE)

    def run(*words: str) -> Callable[[], object]:
        return lambda: subprocess.run(
            [sys.executable, *words, "--help"], check=True, capture_output=True
        )

    ours, theirs = run("-m", "sequencer.command_line.app"), run(str(bare))
    pairs = [(seconds(ours), seconds(theirs)) for _ in range(HELP_ROUNDS)]
    ratio = min(a for a, _ in pairs) / min(b for _, b in pairs)
    print(f"\nsteadyrail --help / bare typer --help: {ratio:.2f}")
    assert ratio <= 1.5


def plain_script(target: Path, seed: int) -> None:
    """What a user would write: read four channels once a second and write them to a file."""
    server = subprocess.Popen(
        [sys.executable, "-m", "simulated_bench", "serve", "--seed", str(seed), "--port", "0"],
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert server.stdout is not None
        where = json.loads(server.stdout.readline())["instruments"]
        manager = pyvisa.ResourceManager("@py")

        def opened(name: str) -> "pyvisa.resources.MessageBasedResource":
            return manager.open_resource(  # type: ignore[return-value]
                where[name], read_termination="\n", write_termination="\n"
            )

        clock, sense, shunt = (opened(n) for n in ("clock", "voltmeter_sense", "voltmeter_shunt"))
        thermometer, load, person = (opened(n) for n in ("thermometer", "load", "person"))
        for meter in (sense, shunt):
            meter.write("VOLT:APER 0.1")
        for sentence in ("Switch the output on.", "Set the output voltage to 30.000 V."):
            person.write(f'OPER:INST "{sentence}"')
            while person.query("OPER:STAT?").strip() == "BUSY":
                clock.query(f"CLOC:UNT? {float(clock.query('CLOC:TIME?')) + 1}")
                person.write(f"OPER:SHOW {float(sense.query('READ?'))},0")
                if abs(float(sense.query("READ?")) - 30) < 0.03 and "30.000" in sentence:
                    break
            person.write("OPER:FIN")
        load.write("FUNC CURR;:CURR 3;:INP ON")
        start = float(clock.query("CLOC:TIME?"))
        with target.open("w", newline="") as file:
            rows = csv.writer(file)
            for tick in range(WARM_UP_S + SOAK_S):
                clock.query(f"CLOC:UNT? {start + tick}")
                rows.writerow(
                    [
                        tick,
                        float(sense.query("READ?")),
                        float(shunt.query("READ?")) / 0.01,
                        float(thermometer.query("MEAS:TEMP? (@101)")),
                        float(thermometer.query("MEAS:TEMP? (@102)")),
                    ]
                )
        for session in (clock, sense, shunt, thermometer, load, person):
            session.close()
    finally:
        server.terminate()
        server.wait()


@pytest.mark.timeout(600)
def test_overnight_against_a_plain_script(tmp_path: Path) -> None:
    plain = seconds(lambda: plain_script(tmp_path / "plain.csv", 1))

    def ours() -> None:
        done = subprocess.run(
            [
                *(sys.executable, "-m", "sequencer.command_line.app", "run", "overnight"),
                *("--seed", "1", "--record", str(tmp_path / "night.sqlite"), "--json"),
            ],
            check=False,
            capture_output=True,
        )
        assert done.returncode == 0, done.stderr.decode()

    whole = seconds(ours)
    print(f"\novernight, 8.5 h of bench time: {whole:.1f} s; plain script {plain:.1f} s;")
    print(f"overnight / plain script: {whole / plain:.2f}")
    assert whole < 60.0
