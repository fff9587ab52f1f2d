"""From a bench document to what making it safe needs."""

from collections.abc import Mapping
from pathlib import Path

from sequencer.documents.bench import BenchDocument
from sequencer.run.beside_load import relays_of
from sequencer.run.safe_job import SafeJob, roles_in_order
from sequencer.run.spec import bench_spec

PROVES_VOLTAGE = ("voltage.sense", "voltage.terminals")
"""Channels that prove that the output's voltage has gone."""


def safe_job_of(
    bench: BenchDocument, record: Path | None = None, addresses: Mapping[str, str] | None = None
) -> SafeJob:
    """Return what making a bench safe needs; `addresses` as in `bench_spec`."""
    asked = tuple(c for c in bench.channels if c not in bench.typed)
    roles = {name: str(entry.role) for name, entry in bench.instruments.items()}
    return SafeJob(
        bench=bench.bench.name,
        record="" if record is None else str(record.absolute()),
        spec=bench_spec(bench, addresses),
        order=_with_resistors(roles_in_order(bench.bench.make_safe, roles), bench),
        current_channels=tuple(c for c in asked if c.startswith("current.")),
        voltage_channels=_proving(asked, bench),
        relays=relays_of(bench.load.resistors),
        moved_channels=tuple(n for n, c in bench.channels.items() if c.leads is not None),
    )


def _proving(asked: tuple[str, ...], bench: BenchDocument) -> tuple[str, ...]:
    """Return what proves that the voltage has gone; the load's reading where all else is typed."""
    found = tuple(c for c in asked if c in PROVES_VOLTAGE)
    if found or not bench.typed:
        return found
    return tuple(
        c
        for c in asked
        if c.startswith("voltage.") and bench.channels[c].instrument == bench.load.instrument
    )


def _with_resistors(order: tuple[str, ...], bench: BenchDocument) -> tuple[str, ...]:
    """Return the order with what is beside the load right after it."""
    by = {one.by for one in bench.load.resistors}
    more = [
        *(["resistors"] if "switch" in by else []),
        *(["resistors by hand"] if "hand" in by else []),
    ]
    at = order.index("load") + 1 if "load" in order else 0
    return (*order[:at], *more, *order[at:])
