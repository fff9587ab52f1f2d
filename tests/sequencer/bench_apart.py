"""A simulated bench in a process of its own, runs against it that can be killed, and its energy."""

import json
import os
import re
import signal
import socket
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from forks import BENCH, GUARDIAN_NAME, STEADYRAIL, Started, forks

from sequencer.record.files import opened
from sequencer.run.safe_report import CURRENT_BOUND_A, VOLTAGE_BOUND_V

APART = Path(__file__).parents[2] / "profiles" / "benches" / "simulated-apart.toml"
SAFE_WITHIN_S = 5.0
SHUNT_OHM = 0.01

PROFILE = """
[profile]
name = "short"
unit = "w-17"
bench = "bench.toml"

[outputs]
report = false

[[trials]]
trial = "load_steps"
voltage = "30 V"
current = "3 A"

[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "10 min"
duration = "30 min"
period = "1 s"
"""


@dataclass
class Apart:
    """A served bench: its addresses, a folder with documents for it, and the server."""

    addresses: dict[str, str]
    folder: Path
    server: Started

    def ask(self, instrument: str, message: str) -> str:
        host, port = self.addresses[instrument].split("::")[1:3]
        with closing(socket.create_connection((host, int(port)), 2.0)) as link:
            link.sendall(message.encode() + b"\n")
            return link.makefile().readline().strip()

    def energy(self) -> tuple[str, float, float]:
        """Return the load's switch, and the voltage and current at the output."""
        return (
            self.ask("load", "INPut?"),
            float(self.ask("voltmeter_sense", "MEASure:VOLTage? 40")),
            float(self.ask("voltmeter_shunt", "MEASure:VOLTage? 0.1")) / SHUNT_OHM,
        )

    def without_energy(self) -> bool:
        load, volts, amperes = self.energy()
        return load == "0" and abs(volts) < VOLTAGE_BOUND_V and abs(amperes) < CURRENT_BOUND_A

    def seconds_to_safe(self, since: float) -> float:
        """Return the wall time from `since` until the bench is without energy."""
        while not self.without_energy():
            assert time.monotonic() - since < 4 * SAFE_WITHIN_S, self.energy()
            time.sleep(0.05)  # wall time is what is promised
        return time.monotonic() - since

    def start(self, *words: str, most_bytes: int | None = None) -> Started:
        """Start the command line as a process of its own, as from a terminal."""
        return forks().start(
            STEADYRAIL,
            *words,
            folder=self.folder,
            out=self.folder / "out.txt",
            errors=self.folder / "errors.txt",
            environment={"STEADYRAIL_STATE": str(self.folder / "locks")},
            most_bytes=most_bytes,
        )

    def run(self, record: str, most_bytes: int | None = None) -> Started:
        words = ("run", "profile.toml", "--record", record, "--json", "--cautions-read")
        return self.start(*words, most_bytes=most_bytes)

    def finish(self, *words: str) -> tuple[int, str]:
        process = self.start(*words)
        return process.wait(), process.out.read_text()

    def errors(self) -> str:
        return (self.folder / "errors.txt").read_text()

    def guardians(self) -> list[int]:
        """Return the guardians of this bench's runs."""
        found = []
        for place in Path("/proc").glob("[0-9]*"):
            try:
                name = (place / "comm").read_text().strip()
                here = name == GUARDIAN_NAME and (place / "cwd").readlink() == self.folder
            except OSError:
                continue
            if here:
                found.append(int(place.name))
        return found


@contextmanager
def apart(
    folder: Path, scenario: str = "healthy", seed: int = 1, profile: str = PROFILE
) -> Iterator[Apart]:
    words = ("serve", f"--scenario={scenario}", f"--seed={seed}", "--port=0")
    out = folder / "served.txt"
    server = forks().start(BENCH, *words, folder=folder, out=out, errors=folder / "server.txt")
    try:
        while not (out.exists() and out.read_text().endswith("\n")):
            assert server.poll() is None, (folder / "server.txt").read_text()
            time.sleep(0.01)  # wall time: the process is real
        addresses = json.loads(out.read_text())["instruments"]
        text = APART.read_text()
        for name, address in addresses.items():
            text = re.sub(
                rf'(\[instruments\.{name}\][^\[]*?address = ")[^"]*', rf"\g<1>{address}", text
            )
        (folder / "bench.toml").write_text(text)
        (folder / "profile.toml").write_text(profile)
        table = Apart(addresses, folder, server)
        try:
            yield table
        finally:
            for pid in table.guardians():
                os.kill(pid, signal.SIGKILL)
    finally:
        server.kill()


def committed(record: Path) -> list[tuple[object, ...]]:
    """Return every reading that is in a record now."""
    with opened(record) as connection:
        return connection.execute("SELECT * FROM readings ORDER BY id").fetchall()


def events(record: Path) -> list[tuple[str, str]]:
    with opened(record) as connection:
        return connection.execute("SELECT kind, text FROM events ORDER BY id").fetchall()
