"""Every fault of the simulated bench once, each over real sockets; `make faults` runs all phases.

Faults that a run recovers from share one run, and so do those that leave it going on; each of the
others has a short run of its own.
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "campaigns"))
from fault_ends import ended
from fault_kinds import DEALT_WITH, RECOVERED, STOPS, UNNOTICED, Kind, kinds, names
from short_bench import HEAD, Ran, run

BRIEF = (
    HEAD
    + """
[[trials]]
trial = "soak"
voltage = "30 V"
current = "3 A"
warm_up = "30 s"
duration = "2 min"
"""
)
FIRST_S, APART_S = 62.0, 5.0
"""After the start check's 25 s and the warm-up, during the soak: a unit that does not deliver its
current when it is warm is not soaked.
"""

AT_S = 22.6
"""Within the start check, while a small current flows."""

KINDS = [kind for kind in kinds() if kind.table.get("instrument") != "clock"]
"""A time base is waited for by the computer's time, ten seconds: `make faults` has it."""

RECOVERS = [kind for kind in KINDS if kind.ends <= DEALT_WITH and kind.same_unit]
INPUTS = {"smoke", "interlock opened", "emergency stop"}
"""Each has its run in `test_whole_watched.py`, also part of the sample."""

STOPPING = [kind for kind in KINDS if kind.ends <= STOPS and kind.name not in INPUTS]
OTHERS = [k for k in KINDS if k not in RECOVERS + STOPPING and k.name not in INPUTS]
BY_THEMSELVES = [kind for kind in OTHERS if kind.same_unit]
TOGETHER = [kind for kind in OTHERS if not kind.same_unit]


def at_times(chosen: list[Kind]) -> list[dict[str, object]]:
    each = [kind.tables(FIRST_S + APART_S * n) for n, kind in enumerate(chosen)]
    return [table for tables in each for table in tables]


def ended_together(ran: Ran, chosen: list[Kind]) -> tuple[str, str]:
    """Return how a run with all of these ended; each has to have been met."""
    assert not [kind.name for kind in chosen if not ran.seen.met(str(kind.table["what"]))]
    return ended(ran, chosen[0], FIRST_S)


def once_each(chosen: list[Kind], done: list[Kind]) -> list[Kind]:
    """Return the first kind of each fault that none of `done` has: once in CI is enough."""
    had = {str(kind.table["what"]) for kind in done} - {"no answer"}
    first = {str(kind.table["what"]): kind for kind in reversed(chosen)}
    return [kind for what, kind in first.items() if what not in had]


def test_the_sample_knows_every_fault_of_the_bench() -> None:
    assert {str(kind.table["what"]) for kind in KINDS} == names()


def test_faults_of_links_are_recovered_with_an_event(tmp_path: Path) -> None:
    ran = run(tmp_path, at_times(RECOVERS), BRIEF)
    end, said = ended_together(ran, RECOVERS)
    assert end == RECOVERED, said
    assert sum(event["kind"] == "reopened" for event in ran.events) >= len(RECOVERS) // 2


def test_faults_of_unit_and_room_end_in_a_result_and_a_safe_bench(tmp_path: Path) -> None:
    ran = run(tmp_path, at_times(TOGETHER), BRIEF)
    end, said = ended_together(ran, TOGETHER)
    assert end in {RECOVERED, UNNOTICED, "found", *STOPS}, f"{end}: {said}"


@pytest.mark.parametrize("kind", once_each(STOPPING, RECOVERS), ids=lambda kind: kind.name)
def test_what_can_t_be_recovered_stops_the_run(tmp_path: Path, kind: Kind) -> None:
    ran: Ran = run(tmp_path, kind.tables(AT_S), BRIEF, computer=kind.of_computer(AT_S))
    end, said = ended(ran, kind, AT_S)
    assert end in STOPS, f"{end}: {said}"


@pytest.mark.parametrize(
    "kind", once_each(BY_THEMSELVES, [*RECOVERS, *STOPPING]), ids=lambda kind: kind.name
)
def test_what_may_stop_a_run_never_ends_it_in_silence(tmp_path: Path, kind: Kind) -> None:
    ran: Ran = run(tmp_path, kind.tables(AT_S), BRIEF, computer=kind.of_computer(AT_S))
    end, said = ended(ran, kind, AT_S)
    assert end in kind.ends, f"{end}: {said}"
