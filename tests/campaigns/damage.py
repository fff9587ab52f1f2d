"""Units that destroy themselves, over many seeds: `make damage`.

Thermal runaway has to be stopped before the junction reaches the scenario's damage limit, where the
pass element fails short. A pass element that has failed short has to be seen within two ticks and a
query, with the load's ratings kept. Both are held to what really happened on the bench, not to
readings. Either way the bench is made safe, or it is said loudly that it could not be.
"""

import sys
import tempfile
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from shutil import rmtree
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
from ledger import Ledger, Row, behave, commit, digest_of, options, shown
from short_bench import HEAD, Hang, Ran, run

from simulated_bench.scenario import load

SOAK = (
    HEAD
    + """
[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "1 min"
duration = "90 min"
"""
)

SHORT, RUNAWAY = "pass element short", "thermal runaway"

FAULTS: dict[str, list[dict[str, object]]] = {
    SHORT: [{"what": SHORT, "at": "6 min ± 5 min"}],
    RUNAWAY: [],
}
"""What happens to the unit; the moment of the short is drawn from the seed."""

SOON = str(Path(__file__).with_name("runs-away-soon.toml"))
BASES = {SHORT: "healthy", RUNAWAY: SOON}
"""Runaway: a heatsink that is loose and light, and drivers that leak; it comes in ten minutes."""

LOAD_W = 150.0
SEEN_WITHIN_S = 3.0
"""A tick of a second until it is read, one more until the load is off, and the slowest query."""

RUN_LASTS_S, LONGEST_S = 300, 400.0


def fate(what: str, seed: int) -> dict[str, Any]:
    """Run one unit and see what became of it."""
    folder = Path(tempfile.mkdtemp(prefix="damage-"))
    told: dict[str, Any] = {"what": what, "seed": seed}
    try:
        ran = run(folder, FAULTS[what], SOAK, seed, longest_s=RUN_LASTS_S, based_on=BASES[what])
    except Hang as error:
        return told | {"wrong": [f"HANGS: {error}"]}
    finally:
        rmtree(folder, ignore_errors=True)
    stopped = next((e["text"] for e in ran.events if e["kind"] == "stopped"), "not stopped")
    margins = _of_the_short(ran) if what == SHORT else _of_the_runaway(ran)
    wrong = [*_ending(ran), *(f"no margin: {name}" for name, m in margins.items() if not m > 0.0)]
    return told | {"wrong": wrong, "exit": ran.code, "stopped": stopped, **margins}


def _ending(ran: Ran) -> list[str]:
    safe = " ".join(e["text"] for e in ran.events if e["kind"] == "make safe")
    if ran.code == 4 and safe.startswith("Made safe, verified"):
        return [] if ran.seen.without_energy else [f"not without energy: {ran.seen.volts:.3g} V"]
    if ran.code == 5 and "NOT VERIFIED" in safe and "NOT VERIFIED" in ran.errors:
        return []
    return [f"ended with {ran.code}: {safe or 'not made safe'}"]


def _of_the_runaway(ran: Ran) -> dict[str, float]:
    """Return by how many kelvins the junction stayed below the limit; none once it was damaged."""
    limit = load(SOON).heat.destroyed_at.nominal
    return {"margin_k": 0.0 if ran.seen.damage else limit - ran.seen.hottest_degc}


def _of_the_short(ran: Ran) -> dict[str, float]:
    """Return how much earlier than promised the current was off, and what the load had left."""
    lasted = ran.seen.load_off_s - ran.seen.begun.get(SHORT, float("nan"))
    return {"margin_s": SEEN_WITHIN_S - lasted, "margin_w": LOAD_W - ran.seen.most_watts}


def summary(rows: Sequence[Row]) -> list[str]:
    """Return the lines that say how it went."""
    lines = ["# Damage", "", f"Commit {commit()}.", ""]
    for what in FAULTS:
        some = [row for row in rows if row.get("what") == what]
        wrong = [row for row in some if row["wrong"]]
        lines.append(f"- {what}: {len(some)} seeds, {len(some) - len(wrong)} stopped in time")
        for margin in ("margin_k", "margin_s", "margin_w"):
            if values := [row[margin] for row in some if margin in row]:
                least = min(some, key=lambda row: row.get(margin, float("inf")))["seed"]
                lines.append(f"    - {margin}: {shown(values)} (least: seed {least})")
        lines += [f"    - WRONG {row}" for row in wrong]
    lines += [f"- WRONG {row}" for row in rows if "what" not in row]
    return lines


def main() -> int:
    """Run the campaign; the exit code is 1 when any unit was not stopped in time."""
    parser = options(__doc__, "damage")
    parser.add_argument("--seeds", type=int, default=100, help="of each kind")
    given = parser.parse_args()
    behave()
    here = Path(__file__)
    own = (here, here.with_name("short_bench.py"), Path(SOON))
    jobs = {
        f"{what}, seed {seed}": partial(fate, what, seed)
        for what in FAULTS
        for seed in range(1, given.seeds + 1)
        if given.only in f"{what}, seed {seed}"
    }
    rows = Ledger(given.out, digest_of(*own), afresh=given.afresh).carry_out(
        jobs,
        at_once=given.at_once,
        longest_s=LONGEST_S,
        said=lambda row: f"{'WRONG ' if row.get('wrong', True) else ''}{row.get('stopped', row)}",
    )
    text = "\n".join(summary(rows)) + "\n"
    (given.out / "damage.md").write_text(text)
    print(text)
    return int(any(row.get("wrong", True) for row in rows))


if __name__ == "__main__":
    sys.exit(main())
