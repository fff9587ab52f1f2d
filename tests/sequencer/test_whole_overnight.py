"""Nights at full power on the simulated bench, against its truth."""

from pathlib import Path

import pytest
from whole_runs import (
    assert_healthy_passes,
    assert_judged_alike,
    assert_truth_within_uncertainty,
    ran,
    truth_of_soak,
)

pytestmark = pytest.mark.timeout(600)  # a test here runs a night


def test_a_healthy_unit_passes_for_every_seed() -> None:
    assert_healthy_passes("overnight")


def test_the_truth_lies_within_the_stated_uncertainty() -> None:
    assert_truth_within_uncertainty("overnight")


def test_judge_gives_the_same_numbers_from_the_record_alone(tmp_path: Path) -> None:
    assert_judged_alike("overnight", tmp_path)


def test_a_leaky_reference_fails_the_drift() -> None:
    done, result, record = ran("overnight", "leaky-reference", 1)
    assert done.returncode == 1
    assert [v["figure"] for v in result["verdicts"] if v["verdict"] == "fail"] == ["drift"]
    drift = next(f for f in result["figures"] if f["name"] == "drift")
    assert drift["value"] > 0.030
    true = truth_of_soak("leaky-reference", 1, record)["drift"]
    assert abs(drift["value"] - true) < drift["U"]
