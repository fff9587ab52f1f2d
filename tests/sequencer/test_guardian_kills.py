"""Ended at any moment, the bench is without energy at once, and the run goes on to its verdicts."""

import re
from pathlib import Path
from typing import Any

import pytest
from kills import Way, check, interrupted, whole


@pytest.fixture(scope="module")
def uninterrupted(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    result, _ = whole(tmp_path_factory.mktemp("whole"))
    return result


def test_killed_in_the_soak_figures_of_what_was_complete_are_the_same(
    tmp_path: Path, uninterrupted: dict[str, Any]
) -> None:
    outcome = interrupted(tmp_path, "kill", 1, phase="soak")
    assert outcome.trials == ("load_steps", "soak")
    check(outcome, uninterrupted)
    before, _, _ = " ".join(outcome.said.split()).rpartition("start_check …")
    assert "load_steps: complete in the record." in before
    assert "soak: goes on where it was cut off, after a new warm-up, as the unit lost" in before
    assert re.search(r"About [\d.]+ \w+ are left", before)
    (drift,) = [f for f in outcome.result["figures"] if f["name"] == "drift"]
    assert any("gap" in note for note in drift["notes"])


@pytest.mark.parametrize(("way", "phase"), [("hang", "round"), ("guardian", "soak")])
def test_ended_in_the_middle_it_is_safe_and_ends_in_the_same_verdicts(
    tmp_path: Path, uninterrupted: dict[str, Any], way: Way, phase: str
) -> None:
    outcome = interrupted(tmp_path, way, 1, phase=phase)
    assert not outcome.ended
    check(outcome, uninterrupted)
