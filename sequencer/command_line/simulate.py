"""`steadyrail simulate`: hand over to the simulated bench, which is a program of its own."""

import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from sequencer.run.simulation import command


@dataclass(frozen=True, slots=True)
class Roads:
    """How the instruments can be reached: first ports, serial ports, faults."""

    port: int
    hislip: int | None
    serial: tuple[str, ...]
    control: bool = False
    vxi11: int | None = None

    def words(self) -> list[str]:
        """Return what tells the simulated bench."""
        hislip = [] if self.hislip is None else [f"--hislip={self.hislip}"]
        vxi11 = [] if self.vxi11 is None else [f"--vxi11={self.vxi11}"]
        control = ["--control"] if self.control else []
        serial = [f"--pty={name}" for name in self.serial]
        return [f"--port={self.port}", *hislip, *vxi11, *serial, *control]


def run(
    scenario: str, seed: int, roads: Roads, *, truth: bool, scenarios: bool, trace: Path | None
) -> int:
    """Run the simulated bench in the foreground and return its exit code."""
    if scenarios:
        words = ["scenarios"]
    elif truth:
        words = ["truth", f"--scenario={scenario}", f"--seed={seed}"]
    elif trace is not None:
        words = ["replay", f"--port={roads.port}", "--until-stdin-closes", "--", str(trace)]
    else:
        words = ["serve", f"--scenario={scenario}", f"--seed={seed}", *roads.words()]
        words.append("--until-stdin-closes")  # it ends with this program, whatever ends that
    try:
        with subprocess.Popen([*command(), *words], stdin=subprocess.PIPE) as bench:  # noqa: S603  # own program
            return bench.wait()
    except KeyboardInterrupt:
        sys.stderr.write("The simulated bench has ended.\n")
        return 0
