"""Every fault of the simulated bench in every phase of a run: `make faults`.

A run ends in one of the ends of `fault_kinds`; whatever else (a hang, a traceback, a record that
lost something, "verified" with energy on the bench, a pass from bad data) is wrong. Each cell is a
run of its own against a bench process of its own. Writes OUT/results.jsonl as it goes and the table
OUT/faults.md.
"""

import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path
from shutil import rmtree
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
import fault_kinds as kinds_
from fault_ends import beyond, ended
from fault_kinds import Kind, kinds
from ledger import Ledger, behave, commit, digest_of, options
from short_bench import PROFILES, SOAK, STEPS, SWEEP, Hang, phases, run
from truths import truth_of

PHASES = ("preflight", "start", "prompt", "settle", "read", "sweep", "soak", "make-safe")

CALM = "undisturbed"

LONGEST_S = 500.0
"""A run may take `short_bench.LONGEST_S`; a process that can't even say so is killed."""

SIGNS = {
    kinds_.RECOVERED: "R",
    kinds_.STOPPED: "S",
    kinds_.LOUD: "L",
    kinds_.FOUND: "F",
    kinds_.UNNOTICED: "=",
    kinds_.NOT_APPLICABLE: "–",
}
MEANING = {
    "R": "recovered, with an event in the record; figures true within U",
    "S": "stopped, made safe, verified, and truly without energy",
    "L": "NOT VERIFIED, said loudly, exit code 5",
    "F": "went on and found it: a verdict other than pass",
    "=": "went on, nothing to notice: all verdicts pass, truly, figures true within U",
    "–": "not applicable, with the reason below",
    "!": "wrong end",
}

Row = Mapping[str, Any]


def undisturbed(folder: Path) -> dict[str, Any]:
    """Run the profiles without a fault; return when phases are, and the figures beyond U."""
    at = {"preflight": 0.0}
    anyway: list[str] = []
    for name, profile in (("sweep", SWEEP), ("soak", SOAK), ("steps", STEPS)):
        ran = run(folder / name, [], profile)
        assert ran.code == 0, ran.errors
        assert ran.result is not None
        truth = truth_of(ran.record, [], 0.0, same_unit=True)
        off = beyond(ran.result["figures"], truth)
        far = beyond(ran.result["figures"], truth, off)
        assert len(off) <= MOST_BY_CHANCE, off
        assert not far, off
        anyway += off
        at |= {phase: when for phase, when in phases(ran.record).items() if fits(phase, name)}
    return {"at": at, "anyway": sorted(anyway)}


MOST_BY_CHANCE = 2
"""Of a profile's dozen of figures: one in twenty lies beyond U, three of twelve in one in fifty."""


def fits(phase: str, name: str) -> bool:
    """Return whether a phase is taken from a profile: all but two from that of the steps."""
    return {"sweep": "sweep", "make-safe": "soak"}.get(phase, "steps") == name


def cell(kind: Kind, phase: str, at: float, anyway: Sequence[str]) -> dict[str, Any]:
    """Run one fault in one phase and classify."""
    folder = Path(tempfile.mkdtemp(prefix="fault-"))
    true: dict[str, float] = {}
    try:
        profile = PROFILES.get(phase, STEPS)
        ran = run(folder, kind.tables(at, phase), profile, computer=kind.of_computer(at))
        true = {"volts": round(ran.seen.volts, 3), "amperes": round(ran.seen.amperes, 4)}
        end, said = ended(ran, kind, at, anyway)
    except Hang as error:
        end, said = "HANGS", str(error)
    except Exception as error:  # noqa: BLE001  # a traceback is an end, and a wrong one
        end, said = "CRASHES", f"{type(error).__name__}: {error}"
    finally:
        rmtree(folder, ignore_errors=True)
    return {
        "fault": kind.name,
        "phase": phase,
        "at": round(at, 3),
        "end": end,
        "said": said,
        **true,
    }


def end_of(row: Row) -> str:
    return str(row.get("end", "KILLED"))


def is_right(row: Row, kind: Kind) -> bool:
    return "end" in row and row["end"] in kind.right(row["phase"])


def sign(row: Row | None, kind: Kind) -> str:
    if row is None:
        return ""
    if not is_right(row, kind):
        return f"**! {end_of(row)}**"
    return SIGNS[kinds_.NOT_APPLICABLE if row["end"] == kinds_.NOT_MET else row["end"]]


def table(rows: Sequence[Row], wanted: Sequence[str], chosen: Sequence[Kind]) -> list[str]:
    """Return the lines of the table: faults by phases, those that end alike in one row."""
    by = {(row["fault"], row["phase"]): row for row in rows if "fault" in row}
    lines = ["| fault | " + " | ".join(wanted) + " |", "|---" * (len(wanted) + 1) + "|"]
    alike: dict[tuple[str, ...], list[str]] = {}
    for kind in chosen:
        signs = tuple(sign(by.get((kind.name, phase)), kind) for phase in wanted)
        alike.setdefault(signs, []).append(kind.name)
    lines += [
        f"| {'; '.join(names)} | " + " | ".join(signs) + " |" for signs, names in alike.items()
    ]
    return lines


def written(rows: Sequence[Row], wanted: Sequence[str], chosen: Sequence[Kind]) -> str:
    """Return the table in Markdown, then what was said in each cell."""
    by = {kind.name: kind for kind in chosen}
    wrong = [row for row in rows if "fault" not in row or not is_right(row, by[row["fault"]])]
    signs = [sign(row, by[row["fault"]]).strip("*")[:1] for row in rows if "fault" in row]
    counts = {one: signs.count(one) for one in MEANING}
    lines = [
        "# Fault matrix",
        "",
        f"{len(rows)} cells of {len(wanted) * len(chosen)}, {len(wrong)} with a wrong end; "
        f"commit {commit()}.",
        "",
        *(f"- {one}: {meant} ({counts[one]})" for one, meant in MEANING.items()),
        "",
        *table(rows, wanted, chosen),
        "",
        "Not applicable:",
        "",
        *(f"- {k.name}, {phase}: {why}" for k in chosen for phase, why in k.not_in.items()),
        "",
        "## What was said",
        "",
        *(f"- {row['cell']}: {end_of(row)}. {row.get('said', row.get('failed'))}" for row in rows),
    ]
    return "\n".join(lines) + "\n"


def main() -> int:
    """Run the campaign; the exit code is 1 when any run ended wrongly."""
    parser = options(__doc__, "faults")
    parser.add_argument("--phases", nargs="+", default=list(PHASES), choices=PHASES)
    given = parser.parse_args()
    behave()
    covered = {str(kind.table["what"]) for kind in kinds()}
    assert covered >= kinds_.names(), f"no expectation for {kinds_.names() - covered}"
    own = Path(__file__).with_name("short_bench.py")
    ledger = Ledger(given.out, digest_of(own), afresh=given.afresh)
    if CALM not in ledger.rows:  # kept with the cells, which are held against it
        begun = time.monotonic()
        found = undisturbed(Path(tempfile.mkdtemp(prefix="calm-")))
        ledger.add(CALM, found, time.monotonic() - begun)
    at, anyway = ledger.rows[CALM]["at"], ledger.rows[CALM]["anyway"]
    chosen = kinds()
    named = {
        f"{kind.name}, {phase}": partial(cell, kind, phase, at[phase], anyway)
        for phase in given.phases
        for kind in chosen
    }
    jobs = {name: job for name, job in named.items() if given.only in name}
    by = {kind.name: kind for kind in chosen}

    def said(row: Row) -> str:
        right = "fault" in row and is_right(row, by[row["fault"]])
        return end_of(row) + ("" if right else f"  <-- WRONG: {row.get('said', row)}")

    rows = ledger.carry_out(jobs, at_once=given.at_once, longest_s=LONGEST_S, said=said)
    (given.out / "faults.md").write_text(written(rows, given.phases, chosen))
    wrong = sum("fault" not in row or not is_right(row, by[row["fault"]]) for row in rows)
    print(f"{wrong} of {len(rows)} ended wrongly: {given.out / 'faults.md'}")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
