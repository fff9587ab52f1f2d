"""Start the simulated bench as a program of its own and learn its addresses.

The sequencer knows nothing of it but how to start it and the line that it prints when ready.
"""

import json
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

from sequencer.errors import BenchFailed, Exit, UsageError

END_WAIT_S = 5.0


def command() -> list[str]:
    """Return the words that start the simulated bench."""
    return [sys.executable, "-m", "simulated_bench"]


@dataclass(frozen=True, slots=True)
class Served:
    """Name → address of each instrument, and the open file whose last closing ends the bench."""

    addresses: Mapping[str, str]
    lifeline: int


@contextmanager
def simulation(scenario: str, seed: int) -> Iterator[Served]:
    """Serve a simulated bench on free ports while the context lasts.

    Another process that holds the lifeline keeps the bench alive, should this one die.

    Raises
    ------
    BenchFailed
        When it does not come up; says what it wrote.
    """
    words = ["serve", f"--scenario={scenario}", f"--seed={seed}", "--port=0"]
    process = subprocess.Popen(  # noqa: S603  # our own program, with our own arguments
        [*command(), *words, "--until-stdin-closes"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,  # Ctrl-C must reach it only after the bench was made safe
    )
    try:
        if process.stdin is None:
            raise AssertionError("it was started with a pipe")
        yield Served(_addresses(process, scenario), process.stdin.fileno())
    finally:
        if process.stdin is not None:
            process.stdin.close()
        try:
            process.wait(END_WAIT_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        for pipe in (process.stdout, process.stderr):
            if pipe is not None:
                pipe.close()


def _addresses(process: "subprocess.Popen[str]", scenario: str) -> Mapping[str, str]:
    line = process.stdout.readline() if process.stdout is not None else ""
    try:
        return dict(json.loads(line)["instruments"])
    except (ValueError, KeyError, TypeError):
        wrong_call = process.poll() or process.wait(END_WAIT_S)
        process.kill()
        said = process.stderr.read().strip() if process.stderr is not None else ""
        kind = UsageError if wrong_call == Exit.WRONG_USE else BenchFailed
        raise kind(
            f"The simulated bench did not start with scenario {scenario!r}: "
            f"{said or line.strip() or 'it said nothing'}"
        ) from None
