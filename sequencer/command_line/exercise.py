"""`steadyrail exercise`: try every operation of a dialect on an instrument, with outputs off."""

import json
import sys
from collections.abc import Sequence
from dataclasses import asdict

from rich.console import Console

from drivers.exercise import Tried, exercise
from drivers.roles import BenchSpec, InstrumentSpec
from sequencer.documents.bench import BenchDocument
from sequencer.documents.load import locate, read_document
from sequencer.errors import Exit, UsageError
from sequencer.run.simulation import simulation
from sequencer.run.spec import bench_spec
from sequencer.run.visit import visiting

DEFAULT_BACKEND = "@py"
STYLES = {"worked": "green", "failed": "bold red", "not tried": "dim"}


def run(bench: str, names: tuple[str, ...], *, as_json: bool) -> int:
    """Exercise the named instruments of a bench, or all; return the exit code."""
    document = read_document(locate("bench", bench), "bench")
    if not isinstance(document, BenchDocument):
        raise UsageError(f"{bench} is no bench document.")
    unknown = [name for name in names if name not in document.instruments]
    if unknown:
        raise UsageError(
            f"Found {', '.join(unknown)}, expected instruments of the bench: "
            f"{', '.join(document.instruments)}."
        )
    simulated = document.simulation
    if simulated is None:
        return _all(bench_spec(document), names, as_json=as_json)
    with simulation(simulated.scenario, simulated.seed) as served:
        return _all(bench_spec(document, served.addresses), names, as_json=as_json)


def _all(bench: BenchSpec, names: tuple[str, ...], *, as_json: bool) -> int:
    wanted = [spec for spec in bench.instruments if not names or spec.name in names]
    with visiting(spec.address for spec in wanted):
        return _each(wanted, bench.options.get("backend", DEFAULT_BACKEND), as_json=as_json)


def _each(specs: Sequence[InstrumentSpec], backend: str, *, as_json: bool) -> int:
    console = Console(stderr=as_json)
    rows: list[dict[str, object]] = []
    failed = 0
    for spec in specs:
        console.print(f"{spec.name} ({spec.dialect}) at {spec.address}", markup=False)
        for tried in exercise(spec, backend=backend):
            _show(tried, console)
            rows.append({"instrument": spec.name} | asdict(tried))
            failed += tried.outcome == "failed"
    if as_json:
        sys.stdout.write(json.dumps({"operations": rows}) + "\n")
    else:
        done = sum(row["outcome"] == "worked" for row in rows)
        console.print(f"{done} worked, {failed} failed, {len(rows) - done - failed} not tried.")
    return Exit.INSTRUMENT if failed else Exit.PASSED


def _show(tried: Tried, console: Console) -> None:
    message = f"  {tried.message}" if tried.message else ""
    console.print(f"  {tried.outcome:<10}", style=STYLES[tried.outcome], end="")
    console.print(f"{tried.operation}{message}: {tried.remark}", markup=False, highlight=False)
