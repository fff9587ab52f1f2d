"""From a bench document to what making it safe needs."""

from collections.abc import Mapping
from pathlib import Path

from sequencer.documents.bench import BenchDocument
from sequencer.run.safe_job import SafeJob, roles_in_order
from sequencer.run.spec import bench_spec

PROVES_VOLTAGE = ("voltage.sense", "voltage.terminals")
"""Channels that prove that the output's voltage has gone."""


def safe_job_of(
    bench: BenchDocument, record: Path | None = None, addresses: Mapping[str, str] | None = None
) -> SafeJob:
    """Return what making a bench safe needs; `addresses` as in `bench_spec`."""
    roles = {name: str(entry.role) for name, entry in bench.instruments.items()}
    return SafeJob(
        bench=bench.bench.name,
        record="" if record is None else str(record.absolute()),
        spec=bench_spec(bench, addresses),
        order=roles_in_order(bench.bench.make_safe, roles),
        current_channels=tuple(c for c in bench.channels if c.startswith("current.")),
        voltage_channels=tuple(c for c in bench.channels if c in PROVES_VOLTAGE),
    )
