"""Runs ended at random moments (kill, hang, guardian killed), then resumed: `make kills`.

Two at a time. Each moment is a line in OUT/moments.jsonl, drawn from its number alone, so that an
interrupted campaign goes on; delete that file after a change of code. Writes OUT/kills.md.
"""

import argparse
import json
import os
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "sequencer"))
import kills

WAYS: tuple[kills.Way, ...] = ("kill", "kill", "hang", "guardian")
AT_ONCE = 2
NICE = 10


def moment(number: int, readings: int, whole: dict[str, Any]) -> dict[str, Any]:
    """End one run and resume it; say what was promised and what came."""
    random = Random(number)  # noqa: S311  # moments, not secrets
    way, after, later_s = random.choice(WAYS), random.randrange(readings), random.random()
    told: dict[str, Any] = {"moment": number, "way": way, "after": after, "later_s": later_s}
    try:
        with TemporaryDirectory(prefix="kills-") as folder:
            outcome = kills.interrupted(Path(folder).resolve(), way, after, later_s=later_s)
    except AssertionError as error:
        return told | {"failed": str(error)[:500]}
    untouched = outcome.trials[:-1]
    told |= {
        "in": outcome.trials[-1] if outcome.trials else "before the trials",
        "ended_before": outcome.ended,
        "safe_after_s": round(outcome.safe_after_s, 3),
        "committed": outcome.before,
        "lost": outcome.lost,
        "verdicts_equal": kills.verdicts(outcome.result) == kills.verdicts(whole),
        "figures_compared": len(kills.figures(whole, untouched)),
        "figures_equal": kills.figures(outcome.result, untouched)
        == kills.figures(whole, untouched),
    }
    try:
        kills.check(outcome, whole)
    except AssertionError as error:
        told["failed"] = str(error)[:500]
    return told


def table(rows: list[dict[str, Any]]) -> Iterator[str]:
    """Yield the lines of the table: a row for each way and place of the cut."""
    yield "| ended by | in | moments | slowest to safe, s | lost | verdicts equal | figures equal |"
    yield "|---|---|---|---|---|---|---|"
    met = [r for r in rows if "in" in r]
    for way, place in sorted({(r["way"], r["in"]) for r in met if not r["ended_before"]}):
        some = [r for r in met if (r["way"], r["in"]) == (way, place) and not r["ended_before"]]
        compared = sum(r["figures_compared"] for r in some)
        same = sum(r["figures_compared"] for r in some if r["figures_equal"])
        yield (
            f"| {way} | {place} | {len(some)} | {max(r['safe_after_s'] for r in some):.2f} "
            f"| {sum(r['lost'] for r in some)} of {sum(r['committed'] for r in some)} "
            f"| {sum(r['verdicts_equal'] for r in some)} | {same} of {compared} |"
        )
    ended = sum(r["ended_before"] for r in met)
    failed = [r for r in rows if "failed" in r]
    yield ""
    yield f"{len(rows)} moments; {ended} runs had ended before theirs; {len(failed)} failed."
    yield from (f"- {row}" for row in failed)


def main() -> int:
    """Run what is still missing, and return whether anything failed."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moments", type=int, default=200)
    parser.add_argument("--out", type=Path, default=Path("out/kills"))
    wanted = parser.parse_args()
    os.nice(NICE)
    wanted.out.mkdir(parents=True, exist_ok=True)
    kept = wanted.out / "moments.jsonl"
    rows = [json.loads(line) for line in kept.read_text().splitlines()] if kept.exists() else []
    with TemporaryDirectory(prefix="kills-") as folder:
        whole, readings = kills.whole(Path(folder).resolve())
    missing = sorted(set(range(wanted.moments)) - {row["moment"] for row in rows})
    with ThreadPoolExecutor(AT_ONCE) as pool, kept.open("a") as file:
        asked = [pool.submit(moment, number, readings, whole) for number in missing]
        try:
            for done in as_completed(asked):
                rows.append(done.result())
                file.write(json.dumps(rows[-1]) + "\n")
                file.flush()
                print(json.dumps(rows[-1]), flush=True)
        except KeyboardInterrupt:
            pool.shutdown(cancel_futures=True)
    text = "\n".join(table(rows)) + "\n"
    (wanted.out / "kills.md").write_text(text)
    print(text)
    return int(any("failed" in row for row in rows))


if __name__ == "__main__":
    sys.exit(main())
