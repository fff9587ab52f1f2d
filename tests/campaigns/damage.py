"""Units that destroy themselves, over many seeds: `make damage`.

Thermal runaway has to be stopped before the junction reaches the scenario's damage limit: there the
pass element fails short, and an output at the reservoir's voltage would stand in the record. A pass
element that has failed short has to be seen within two ticks and a query, with the load's ratings
kept. Either way the bench is made safe, or it is said loudly that it could not be.
"""

import argparse
import sqlite3
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from short_bench import HEAD, Hang, Ran, run

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

FAULTS: dict[str, list[dict[str, object]]] = {
    "pass element short": [{"what": "pass element short", "at": "6 min ± 5 min"}],
    "thermal runaway": [],
}
"""What happens to the unit; the moment of the short is drawn from the seed."""

BASES = {"thermal runaway": str(Path(__file__).with_name("runs-away-soon.toml"))}
"""A unit whose heatsink is loose and light and whose drivers leak: it runs away in ten minutes."""

SETTING_V, DESTROYED_V = 30.0, 33.0
"""A pass element that has failed short puts some 40 V to the output."""

LOAD_V, LOAD_A, LOAD_W = 60.0, 5.0, 150.0
SEEN_WITHIN_S = 3.0


@dataclass(frozen=True)
class Fate:
    """One unit: whether it was stopped in time, and how that was seen."""

    what: str
    seed: int
    right: bool
    said: str


def fate(what: str, seed: int) -> Fate:
    """Run one unit and see what became of it."""
    folder = Path(tempfile.mkdtemp(prefix="damage-"))
    try:
        ran = run(
            folder, FAULTS[what], SOAK, seed, longest_s=300, based_on=BASES.get(what, "healthy")
        )
    except Hang as error:
        return Fate(what, seed, False, f"HANGS: {error}")
    wrong = [*_ending(ran), *(_short(ran) if what == "pass element short" else _runaway(ran))]
    stopped = next((e["text"] for e in ran.events if e["kind"] == "stopped"), "not stopped")
    return Fate(what, seed, not wrong, "; ".join([*wrong, stopped]))


def _ending(ran: Ran) -> list[str]:
    safe = " ".join(e["text"] for e in ran.events if e["kind"] == "make safe")
    if ran.code == 4 and safe.startswith("Made safe, verified"):
        return []
    if ran.code == 5 and "NOT VERIFIED" in safe and "NOT VERIFIED" in ran.errors:
        return []
    return [f"ended with {ran.code}: {safe or 'not made safe'}"]


def rows(record: Path, channel: str) -> list[tuple[float, float]]:
    """Return bench times and values of a channel."""
    with sqlite3.connect(record) as base:
        return base.execute(
            "SELECT r.answered_at, r.value FROM readings r JOIN channels c ON c.id = r.channel "
            "WHERE c.name = ? ORDER BY r.id",
            (channel,),
        ).fetchall()


def _runaway(ran: Ran) -> list[str]:
    volts = max(value for _, value in rows(ran.record, "voltage.sense"))
    return [f"the pass element failed: {volts:.3g} V"] if volts > DESTROYED_V else []


def _short(ran: Ran) -> list[str]:
    high = [at for at, value in rows(ran.record, "voltage.sense") if value > DESTROYED_V]
    at = [e["at"] for e in ran.events if e["kind"] == "stopped"]
    found = []
    if not high:
        found.append("the short was never seen")
    currents = [v for _, v in rows(ran.record, "current.shunt")]
    volts = [v for _, v in rows(ran.record, "voltage.sense")]
    if max(volts) > LOAD_V or max(currents) > LOAD_A or max(volts) * max(currents) > LOAD_W:
        found.append("beyond the load's ratings")
    carried = [t for t, v in rows(ran.record, "current.shunt") if high and t >= high[0] and v > 1]
    if carried and at and carried[-1] - high[0] > SEEN_WITHIN_S:
        found.append(f"current flowed for {carried[-1] - high[0]:.1f} s more")
    return found


def main() -> int:
    """Run the campaign; the exit code is 1 when any unit was not stopped in time."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=100)
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    wrong = 0
    for what in FAULTS:
        with ProcessPoolExecutor(given.workers) as pool:
            for found in pool.map(partial(fate, what), range(1, given.seeds + 1)):
                wrong += not found.right
                print(f"{what}, seed {found.seed}: {found.right} {found.said}", flush=True)
    print(f"{wrong} of {given.seeds * len(FAULTS)} were not stopped in time")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
