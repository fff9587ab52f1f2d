"""Progress in a log: a few readable lines, however fast bench time passes."""

import io

import pytest
from rich.console import Console

from sequencer.command_line.progress import LINES, Progress
from sequencer.planning import Plan, PlannedTrial
from sequencer.run.rehearsal import PlannedStep

NIGHT_S = 30_600.0
PLAN = Plan(
    (PlannedTrial("soak", "Holds still.", (PlannedStep(0.0, NIGHT_S, "read", 3.0, 90.0, 36.0),)),),
    (),
)


def told(wall_per_bench_second: float, *, terminal: bool = False, plain: bool = False) -> list[str]:
    """Return the lines of a night at one reading a second."""
    wall = [0.0]
    out = io.StringIO()
    console = Console(file=out, force_terminal=terminal, width=80)
    with Progress(console, PLAN, plain=plain, clock=lambda: wall[0]) as progress:
        progress.trial("soak")
        for second in range(int(NIGHT_S) + 1):
            wall[0] = wall_per_bench_second * second
            if not terminal or plain:
                progress.at(float(second))
    return out.getvalue().splitlines()


def test_a_real_night_gives_a_line_every_twentieth() -> None:
    lines = told(1.0)
    assert lines[0] == "soak … about 8.5 h"
    assert lines[1] == "  soak: 5 % of the run, 8.1 h of bench time left"
    assert len(lines) == 1 + LINES
    assert lines[-1] == "  soak: 100 % of the run, 0 s of bench time left"


def test_a_simulated_night_of_a_minute_gives_two() -> None:
    assert len(told(60.0 / NIGHT_S)) == 1 + 2


@pytest.mark.parametrize("seconds", [1.0, 0.0])
def test_a_person_at_the_terminal_is_not_interrupted(seconds: float) -> None:
    assert len(told(seconds, terminal=True, plain=True)) == 1
