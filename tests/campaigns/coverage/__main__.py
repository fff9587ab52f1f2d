"""Run the campaign: python -m tests.campaigns.coverage --benches 1000."""

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path

from tests.campaigns.coverage.measure import Missing, Row
from tests.campaigns.coverage.plot import draw
from tests.campaigns.coverage.run import measure_all
from tests.campaigns.coverage.table import lines, markdown


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
    measure_all(
        left,
        done,
        processes=options.processes,
        before=len(wanted) - len(left),
        trials=options.trials,
    )
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
    parser.add_argument("--trials", nargs="+", help="only these; all where left out")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--out", type=Path, default=Path("out/coverage"))
    parser.add_argument("--afresh", action="store_true", help="forget benches measured before")
    return parser.parse_args()


def _read(done: Path) -> Iterator[tuple[int, list[Row], list[Missing]]]:
    """Yield what was measured before, each bench once.

    A line cut off by an interrupt is measured again; two runs on one file measure a bench twice.
    """
    if not done.exists():
        return
    seen: set[int] = set()
    for text in done.read_text(encoding="utf-8").splitlines():
        try:
            entry = json.loads(text)
        except json.JSONDecodeError:
            continue
        if entry["seed"] in seen:
            continue
        seen.add(entry["seed"])
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
