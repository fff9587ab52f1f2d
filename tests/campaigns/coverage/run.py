"""Measure many benches in several processes, and keep each as soon as it is done."""

import json
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict
from multiprocessing import get_context
from pathlib import Path

from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)

from tests.campaigns.coverage.measure import Missing, Row, measure

NICE = 5


def measure_all(
    seeds: Sequence[int],
    done: Path,
    *,
    processes: int,
    before: int = 0,
    trials: Sequence[str] | None = None,
) -> None:
    """Measure the benches of `seeds` and append each to the file `done`, one JSON line a bench.

    `before` is how many of the whole were done before; the progress bar begins there.
    """
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
    )
    executor = ProcessPoolExecutor(processes, get_context("spawn"), be_nice)
    with Progress(*columns) as bar, executor as pool, done.open("a", encoding="utf-8") as file:
        task = bar.add_task("benches", total=before + len(seeds), completed=before)
        waiting = [pool.submit(one_bench, seed, trials) for seed in seeds]
        try:
            for future in as_completed(waiting):
                seed, rows, missing = future.result()
                entry = {
                    "seed": seed,
                    "rows": [asdict(row) for row in rows],
                    "missing": [asdict(one) for one in missing],
                }
                file.write(json.dumps(entry) + "\n")
                file.flush()
                bar.advance(task)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def be_nice() -> None:
    """Leave the computer to whoever works on it."""
    os.nice(NICE)


def one_bench(seed: int, trials: Sequence[str] | None) -> tuple[int, list[Row], list[Missing]]:
    """Measure one bench; an error says which."""
    try:
        return seed, *measure(seed, trials)
    except Exception as error:
        error.add_note(f"bench of seed {seed}")
        raise
