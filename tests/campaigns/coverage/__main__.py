"""Run the campaign: python -m tests.campaigns.coverage --benches 1000."""

import argparse
import json
import multiprocessing
import os
import sys
from collections.abc import Iterator
from dataclasses import asdict
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
from tests.campaigns.coverage.plot import draw
from tests.campaigns.coverage.table import lines, markdown

NICE = 10


def main() -> int:
    """Run what is missing, write table and plot; 1 where something is shown to be wrong."""
    options = _options()
    options.out.mkdir(parents=True, exist_ok=True)
    done = options.out / "benches.jsonl"
    if options.afresh:
        done.unlink(missing_ok=True)
    wanted = range(options.first, options.first + options.benches)
    known = {seed for seed, _, _ in _read(done)}
    left = [seed for seed in wanted if seed not in known]
    _run(left, len(wanted), done, options.processes)
    rows: list[Row] = []
    missing: list[Missing] = []
    for seed, some, without in _read(done):
        if seed in wanted:
            rows += some
            missing += without
    found = list(lines(rows))
    table = markdown(found)
    (options.out / "coverage.md").write_text(table + _reasons(missing), encoding="utf-8")
    draw(found, options.out / "coverage.png")
    print(table + _reasons(missing))
    print(f"{len(wanted)} benches; table and plot in {options.out}")
    return int(any(one.complaints for one in found))


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.campaigns.coverage")
    parser.add_argument("--benches", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="seed of the first bench")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("out/coverage"))
    parser.add_argument("--afresh", action="store_true", help="forget benches measured before")
    return parser.parse_args()


def _run(seeds: list[int], wanted: int, done: Path, processes: int) -> None:
    columns = (
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
    )
    with (
        Progress(*columns) as bar,
        multiprocessing.get_context("spawn").Pool(processes, _be_nice) as pool,
        done.open("a", encoding="utf-8") as file,
    ):
        task = bar.add_task("benches", total=wanted, completed=wanted - len(seeds))
        for seed, rows, missing in pool.imap_unordered(_one, seeds):
            entry = {
                "seed": seed,
                "rows": [asdict(row) for row in rows],
                "missing": [asdict(one) for one in missing],
            }
            file.write(json.dumps(entry) + "\n")
            file.flush()
            bar.advance(task)


def _be_nice() -> None:
    os.nice(NICE)


def _one(seed: int) -> tuple[int, list[Row], list[Missing]]:
    try:
        return seed, *measure(seed)
    except Exception as error:
        error.add_note(f"bench of seed {seed}")
        raise


def _read(done: Path) -> Iterator[tuple[int, list[Row], list[Missing]]]:
    """Yield what was measured before; a line cut off by an interrupt is measured again."""
    if not done.exists():
        return
    for text in done.read_text(encoding="utf-8").splitlines():
        try:
            entry = json.loads(text)
        except json.JSONDecodeError:
            continue
        yield (
            entry["seed"],
            [Row(**row) for row in entry["rows"]],
            [Missing(**one) for one in entry["missing"]],
        )


def _reasons(missing: list[Missing]) -> str:
    counts: dict[tuple[str, str], int] = {}
    for one in missing:
        key = (one.figure, one.why[:90])
        counts[key] = counts.get(key, 0) + 1
    return "\nNot compared:\n" + "".join(
        f"- {figure}: {count} times, {why}\n" for (figure, why), count in sorted(counts.items())
    )


if __name__ == "__main__":
    sys.exit(main())
