"""Every fault of the simulated bench in every phase of a run: `make faults`.

A run ends in one of the ends of `fault_kinds`; whatever else (a hang, a traceback, a record that
lost something, a pass from bad data) is a failure. Writes a table in Markdown.
"""

import argparse
import json
import sys
import tempfile
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))
import fault_kinds as kinds_
from fault_kinds import Kind, kinds
from short_bench import PROFILES, STEPS, SWEEP, Hang, Ran, phases, run

from sequencer.errors import Exit
from sequencer.record.read import RecordReader

PHASES = ("start", "prompt", "settle", "read", "sweep", "soak", "make-safe")

TELLING = frozenset(
    {"asked again", "reopened", "closed", "error queue", "late", "lost", "no number"}
)


@dataclass(frozen=True)
class Undisturbed:
    """What the runs are compared with."""

    at: dict[str, float]
    figures: dict[str, dict[str, tuple[float, float]]]


@dataclass(frozen=True)
class Cell:
    """One fault in one phase: how the run ended, whether that is right, and what was said."""

    kind: str
    phase: str
    end: str
    right: bool
    said: str


def undisturbed(folder: Path) -> Undisturbed:
    """Run both profiles without a fault; learn phases and figures."""
    at: dict[str, float] = {}
    figures = {}
    for name, profile in (("sweep", SWEEP), ("steps", STEPS)):
        ran = run(folder / name, [], profile)
        assert ran.result is not None, ran.errors
        assert ran.code in {0, 1, 3}, ran.errors
        at |= phases(ran.record)
        figures[name] = figures_of(ran.result)
    return Undisturbed(at, figures)


def figures_of(result: dict[str, Any]) -> dict[str, tuple[float, float]]:
    return {f["name"]: (f["value"], f["U"]) for f in result["figures"]}


def cell(kind: Kind, phase: str, calm: Undisturbed) -> Cell:
    """Run one fault in one phase and classify."""
    folder = Path(tempfile.mkdtemp(prefix="fault-"))
    tables = kind.tables(f"{calm.at[phase]:.3f} s")
    try:
        ran = run(folder, tables, PROFILES.get(phase, STEPS))
        end, said = ended(ran, calm.figures["sweep" if phase == "sweep" else "steps"], kind)
    except Hang as error:
        end, said = "HANGS", str(error)
    except Exception as error:  # noqa: BLE001  # a traceback is an end, and a wrong one
        end, said = "CRASHES", f"{type(error).__name__}: {error}"
    return Cell(kind.name, phase, end, end in kind.right(phase), said)


def ended(ran: Ran, calm: dict[str, tuple[float, float]], kind: Kind) -> tuple[str, str]:
    """Return how a run ended and what it said."""
    if ran.result is None:
        text = ran.errors.strip().splitlines()[-1] if ran.errors.strip() else ""
        return (kinds_.STOPPED if "Nothing was energised" in ran.errors else "NO RESULT"), text
    if lost := damage_of(ran.record):
        return "LOST", lost
    safe = [e["text"] for e in ran.events if e["kind"] == "make safe"]
    why = next((e["text"] for e in ran.events if e["kind"] == "stopped"), "")
    if not safe or "NOT VERIFIED" in safe[-1]:
        loud = ran.code == Exit.INSTRUMENT and "NOT VERIFIED" in ran.errors and bool(safe)
        return (kinds_.LOUD if loud else "QUIET"), why or " ".join(safe) or "no event"
    if why:
        return kinds_.STOPPED, why
    return went_on(ran, ran.result, calm, kind)


def went_on(
    ran: Ran, result: dict[str, Any], calm: dict[str, tuple[float, float]], kind: Kind
) -> tuple[str, str]:
    """Return how a run ended that came to its own end: compare it with the undisturbed one."""
    if ran.code not in {0, 1, 3}:
        return "WRONG EXIT", f"{ran.code}"
    figures = figures_of(result)
    both = [(n, v - calm[n][0], u + calm[n][1]) for n, (v, u) in figures.items() if n in calm]
    moved = [name for name, change, most in both if abs(change) > most]
    missing = sorted(calm.keys() - figures.keys())
    passed = {v["figure"] for v in result["verdicts"] if v["verdict"] == "pass"}
    if kind.same_unit and passed & set(moved):
        return "FALSE PASS", ", ".join(moved)
    if moved or missing:
        return kinds_.FOUND, ", ".join([*moved, *(f"no {name}" for name in missing)])
    told = ran.kinds() & TELLING
    return (kinds_.RECOVERED if told else kinds_.UNNOTICED), ", ".join(sorted(told))


def damage_of(record: Path) -> str:
    """Return what a record has lost: readings without a gap, every reply with its rows."""
    try:
        with RecordReader.open(record) as reader:
            for trial in reader.trials:
                reader.steps(trial.index)
            numbers = reader.frame().index
            return "" if len(numbers) else "no readings"
    except Exception as error:  # noqa: BLE001  # whatever it is, the record can't be read
        return f"{type(error).__name__}: {error}"


def work(job: tuple[Kind, str, Undisturbed]) -> Cell:
    return cell(*job)


def matrix(
    chosen: Iterable[Kind], wanted: Iterable[str], calm: Undisturbed, workers: int
) -> Iterator[Cell]:
    """Run all, several at a time; yield each as it ends."""
    jobs = [(kind, phase, calm) for phase in wanted for kind in chosen]
    with ProcessPoolExecutor(workers) as pool:
        for number, found in enumerate(pool.map(work, jobs), 1):
            mark = "" if found.right else "  <-- WRONG"
            print(
                f"{number}/{len(jobs)} {found.kind}, {found.phase}: {found.end}{mark}", flush=True
            )
            yield found


def written(cells: list[Cell], wanted: tuple[str, ...]) -> str:
    """Return the table in Markdown, then what was said in each cell."""
    by = {(c.kind, c.phase): c for c in cells}
    names = list(dict.fromkeys(c.kind for c in cells))
    wrong = [c for c in cells if not c.right]
    lines = [
        "# Fault matrix",
        "",
        f"{len(cells)} runs, {len(wrong)} with a wrong end. Bold marks a wrong end.",
        "",
        "| fault | " + " | ".join(wanted) + " |",
        "|---" * (len(wanted) + 1) + "|",
    ]
    for name in names:
        row = [by.get((name, phase)) for phase in wanted]
        shown = ["" if c is None else c.end if c.right else f"**{c.end}**" for c in row]
        lines.append(f"| {name} | " + " | ".join(shown) + " |")
    lines += ["", "## What was said", ""]
    lines += [f"- {c.kind}, {c.phase}: {c.end}. {c.said}" for c in cells]
    return "\n".join(lines) + "\n"


def main() -> int:
    """Run the campaign; the exit code is 1 when any run ended wrongly."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("out/faults.md"))
    parser.add_argument("--phases", nargs="+", default=list(PHASES), choices=PHASES)
    parser.add_argument("--faults", default="", help="only those whose name holds this text")
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    chosen = [kind for kind in kinds() if given.faults in kind.name]
    covered = {str(kind.table["what"]) for kind in kinds()}
    assert covered >= kinds_.names(), f"no expectation for {kinds_.names() - covered}"
    calm = undisturbed(Path(tempfile.mkdtemp(prefix="calm-")))
    print(json.dumps(calm.at))
    given.out.parent.mkdir(parents=True, exist_ok=True)
    cells: list[Cell] = []
    for found in matrix(chosen, given.phases, calm, given.workers):
        cells.append(found)  # written each time, so that an interrupted campaign leaves its table
        given.out.write_text(written(cells, tuple(given.phases)))
    print(f"{sum(not c.right for c in cells)} of {len(cells)} ended wrongly: {given.out}")
    return int(any(not c.right for c in cells))


if __name__ == "__main__":
    sys.exit(main())
