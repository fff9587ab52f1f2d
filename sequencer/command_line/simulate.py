"""`steadyrail simulate`: hand over to the simulated bench, which is a program of its own."""

import subprocess
import sys

from sequencer.run.simulation import command


def run(scenario: str, seed: int, port: int, *, truth: bool, scenarios: bool) -> int:
    """Run the simulated bench in the foreground and return its exit code."""
    if scenarios:
        words = ["scenarios"]
    elif truth:
        words = ["truth", f"--scenario={scenario}", f"--seed={seed}"]
    else:
        words = ["serve", f"--scenario={scenario}", f"--seed={seed}", f"--port={port}"]
    try:
        return subprocess.run([*command(), *words], check=False).returncode  # noqa: S603  # own program
    except KeyboardInterrupt:
        sys.stderr.write("The simulated bench has ended.\n")
        return 0
