"""The true figures that a run with a fault is held against."""

import json
import sqlite3
import warnings
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from short_bench import scenario_text

from simulated_bench.errors import BenchError
from simulated_bench.scenario import load
from simulated_bench.truth import truth as of_scenario
from simulated_bench.truth_state import LOADED_AT_S

Figures = Mapping[str, float]
Faults = Sequence[Mapping[str, object]]
SOAK = "soak"


@dataclass(frozen=True)
class Truth:
    """By trial the true figures, one set for each state that the unit was in during the trial."""

    of: Mapping[str, tuple[Figures, ...]]

    def states(self, trial: str) -> tuple[Figures, ...]:
        return self.of.get(trial, ())


def truth_of(record: Path, faults: Faults, at: float, *, same_unit: bool) -> Truth:
    """Return what is true for each trial of a record, given faults of the unit that began `at`."""
    spans, loaded_at = _spans(record)
    touching = [] if same_unit else [dict(fault) for fault in faults]
    before = figures_of("[]", LOADED_AT_S)
    from_start = json.dumps([{**fault, "at": "0 s"} for fault in touching])
    of: dict[str, tuple[Figures, ...]] = {}
    for trial, (start, end) in spans.items():
        if trial == SOAK:
            # Drift is a function of bench time: the fault comes at its own time in the truth too.
            of[trial] = (figures_of(json.dumps(touching), loaded_at),)
        elif not touching or at >= end:
            of[trial] = (before,)
        elif at <= start:
            of[trial] = (figures_of(from_start, LOADED_AT_S),)
        else:
            of[trial] = (before, figures_of(from_start, LOADED_AT_S))
    return Truth(of)


@cache
def figures_of(faults: str, loaded_at_s: float, seed: int = 1) -> Figures:
    """Return true figures; none where a unit with these faults has none."""
    with TemporaryDirectory(prefix="truth-") as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        path = Path(folder) / "scenario.toml"
        path.write_text(scenario_text(json.loads(faults)))
        try:
            return of_scenario(load(str(path)), seed, loaded_at_s=loaded_at_s)
        except (ArithmeticError, ValueError, BenchError, np.linalg.LinAlgError):
            return {}  # such as without line: there is no output to have figures


def _spans(record: Path) -> tuple[dict[str, tuple[float, float]], float]:
    """Return start and end of each trial in bench time, and when the soak's load came on."""
    with closing(sqlite3.connect(f"file:{record}?mode=ro", uri=True)) as base:
        rows = base.execute(
            "SELECT t.name, min(q.at) FROM requests q JOIN trials t ON t.id = q.trial "
            "GROUP BY t.id ORDER BY min(q.at)"
        ).fetchall()
        last = base.execute("SELECT max(answered_at) FROM readings").fetchone()[0]
        warming = base.execute(
            """SELECT min(at) FROM requests WHERE body LIKE '%"phase":"warm-up"%'"""
        ).fetchone()[0]
    starts = [float(at) for _, at in rows]
    ends = [*starts[1:], float(last or 0.0)]
    names = [str(name) for name, _ in rows]
    spans = dict(zip(names, zip(starts, ends, strict=True), strict=True))
    return spans, float(warming or LOADED_AT_S)
