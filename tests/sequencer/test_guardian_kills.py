"""Ended at any moment, the bench is without energy at once, and the run goes on to its verdicts."""

import os
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from kills import Outcome, Way, check, interrupted, whole

CAMPAIGN = int(os.environ.get("KILLS", "200"))


@pytest.fixture(scope="module")
def uninterrupted(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], int]:
    return whole(tmp_path_factory.mktemp("whole"))


def figures(result: dict[str, Any], trial: str) -> list[Any]:
    return [f for f in result["figures"] if f["trial"] == trial]


def test_killed_in_the_soak_figures_of_what_was_complete_are_the_same(
    tmp_path: Path, uninterrupted: tuple[dict[str, Any], int]
) -> None:
    expected, _ = uninterrupted
    outcome = interrupted(tmp_path, "kill", 1, phase="soak")
    check(outcome, expected)
    assert figures(outcome.result, "load_steps") == figures(expected, "load_steps")
    (drift,) = [f for f in outcome.result["figures"] if f["name"] == "drift"]
    assert any("gap" in note for note in drift["notes"])


@pytest.mark.parametrize(("way", "share"), [("hang", 0.2), ("guardian", 0.6)])
def test_ended_in_the_middle_it_is_safe_and_ends_in_the_same_verdicts(
    tmp_path: Path, uninterrupted: tuple[dict[str, Any], int], way: Way, share: float
) -> None:
    expected, readings = uninterrupted
    check(interrupted(tmp_path, way, round(share * readings)), expected)


@pytest.mark.slow
@pytest.mark.timeout(0)
def test_ended_at_random_moments(uninterrupted: tuple[dict[str, Any], int]) -> None:
    """`make kills`: KILLS moments (200), half of them kills, the rest hangs and lost guardians."""
    expected, readings = uninterrupted
    random = Random(17)  # noqa: S311  # moments, not secrets
    slowest: dict[Way, float] = {}
    failed: list[str] = []
    for number in range(CAMPAIGN):
        way: Way = random.choice(("kill", "kill", "hang", "guardian"))
        moment = random.randrange(readings)
        with TemporaryDirectory(prefix="kills-") as folder:
            try:
                outcome: Outcome = interrupted(Path(folder), way, moment)
                check(outcome, expected)
            except AssertionError as error:
                failed.append(f"{number}: {way} at reading {moment}: {str(error)[:300]}")
                continue
        slowest[way] = max(slowest.get(way, 0.0), outcome.safe_after_s)
    print(f"{CAMPAIGN} moments, slowest to safety: {slowest}; failed: {failed}")
    assert not failed
