"""Runs ended at random moments (kill, hang, guardian killed), then resumed: `make kills`.

Each moment is drawn from its number: so long after the record exists, evenly over the time that an
uninterrupted run takes. Held are: the bench is without energy within five
seconds of wall time; no committed reading is lost; what was read before the moment is, reading by
reading, what an uninterrupted run reads; the resumed run ends in the same verdicts, and the figures
of the trials that were complete before the moment are the same to the last digit.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "sequencer"))
import kills
from bench_apart import committed

sys.path.append(str(Path(__file__).parent))
from ledger import Ledger, Row, behave, commit, digest_of, options, shown

kills.SHORT = kills.SHORT.replace('duration = "60 min"', 'duration = "15 min"')
"""Two hundred runs: a shorter soak still leaves seconds in which to end one."""

SHARE_OF_OTHERS = 4
"""For each fourth kill there is a hang, and a guardian that is killed."""

LONGEST_S = 600.0
Rows = list[tuple[object, ...]]


def moment(way: kills.Way, number: int, undisturbed: "Undisturbed") -> dict[str, Any]:
    """End one run and resume it; say what was promised and what came."""
    whole, readings = undisturbed.result, undisturbed.readings
    random = Random(f"{way} {number}")  # noqa: S311  # moments, not secrets
    later_s = random.uniform(0.0, undisturbed.took_s)
    told: dict[str, Any] = {"way": way, "later_s": round(later_s, 3)}
    try:
        with TemporaryDirectory(prefix="kills-") as folder:
            place = Path(folder).resolve()
            outcome = kills.interrupted(place, way, 0, later_s=later_s)
            before = committed(place / kills.RECORD)[: outcome.before]
    except AssertionError as error:
        return told | {"failed": str(error)[:500]}
    untouched = outcome.trials[:-1]
    told |= {
        "in": outcome.trials[-1] if outcome.trials else "before the trials",
        "ended_before": outcome.ended,
        "safe_after_s": round(outcome.safe_after_s, 3),
        "committed": outcome.before,
        "lost": outcome.lost,
        "readings_equal": before == readings[: outcome.before],
        "verdicts_equal": kills.verdicts(outcome.result) == kills.verdicts(whole),
        "figures_compared": len(kills.figures(whole, untouched)),
        "figures_equal": kills.figures(outcome.result, untouched)
        == kills.figures(whole, untouched),
    }
    try:
        kills.check(outcome, whole)
        assert told["readings_equal"], "an uninterrupted run reads something else"
    except AssertionError as error:
        told["failed"] = str(error)[:500] or "not as promised"
    return told


@dataclass(frozen=True)
class Undisturbed:
    """An uninterrupted run: what it gave, and the wall time from its record to its end."""

    result: dict[str, Any]
    readings: Rows
    took_s: float


def undisturbed(folder: Path) -> Undisturbed:
    """Run without interruption."""
    result, took_s = kills.whole(folder)
    return Undisturbed(result, committed(folder / kills.RECORD), took_s)


def summary(rows: Sequence[Row]) -> list[str]:
    """Return the lines that say how it went: a row for each way and place of the cut."""
    met = [r for r in rows if "in" in r and not r["ended_before"]]
    lines = [
        f"# Kills\n\nCommit {commit()}.\n",
        "| ended by | in | moments | committed, lost | readings as uninterrupted | verdicts equal "
        "| figures equal |",
        "|---|---|---|---|---|---|---|",
    ]
    for way, place in sorted({(r["way"], r["in"]) for r in met}):
        some = [r for r in met if (r["way"], r["in"]) == (way, place)]
        compared = sum(r["figures_compared"] for r in some)
        same = sum(r["figures_compared"] for r in some if r["figures_equal"])
        lines.append(
            f"| {way} | {place} | {len(some)} "
            f"| {sum(r['committed'] for r in some)}, {sum(r['lost'] for r in some)} "
            f"| {sum(r['readings_equal'] for r in some)} "
            f"| {sum(r['verdicts_equal'] for r in some)} | {same} of {compared} |"
        )
    lines += ["", "Seconds of wall time until the bench was without energy:", ""]
    for way in sorted({r["way"] for r in met}):
        lines.append(f"- {way}: {shown([r['safe_after_s'] for r in met if r['way'] == way])}")
    failed = [r for r in rows if "failed" in r]
    early = sum(bool(r.get("ended_before")) for r in rows)
    lines += ["", f"{len(rows)} moments; {early} runs had ended before; {len(failed)} failed."]
    return [*lines, *(f"- {row}" for row in failed)]


def main() -> int:
    """Run what is still missing, and return whether anything failed."""
    parser = options(__doc__, "kills")
    parser.add_argument("--moments", type=int, default=200, help="kills; a quarter of the others")
    given = parser.parse_args()
    behave()
    ledger = Ledger(given.out, digest_of(Path(__file__), Path(kills.__file__)), afresh=given.afresh)
    with TemporaryDirectory(prefix="kills-") as folder:
        calm = undisturbed(Path(folder).resolve())
    ways: list[tuple[int, kills.Way]] = []
    for number in range(given.moments):
        ways.append((number, "kill"))
        if number % SHARE_OF_OTHERS == 0:
            ways += [(number // SHARE_OF_OTHERS, "hang"), (number // SHARE_OF_OTHERS, "guardian")]
    jobs = {
        f"{way} {number}": partial(moment, way, number, calm)
        for number, way in ways
        if given.only in f"{way} {number}"
    }

    def said(row: Row) -> str:
        where = f"{row.get('in')}, safe after {row.get('safe_after_s')} s"
        return f"FAILED {row['failed']}" if "failed" in row else where

    rows = ledger.carry_out(
        jobs, at_once=given.at_once, longest_s=LONGEST_S, threads=True, said=said
    )
    text = "\n".join(summary(rows)) + "\n"
    (given.out / "kills.md").write_text(text)
    print(text)
    return int(any("failed" in row for row in rows))


if __name__ == "__main__":
    sys.exit(main())
