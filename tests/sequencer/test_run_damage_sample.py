"""Units that destroy themselves are stopped in time; `make damage` takes a hundred of each."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "campaigns"))
from damage import fate


@pytest.mark.parametrize(
    ("what", "seed"),
    # A runaway takes three quarters of an hour of bench time: one is enough here.
    [*(("pass element short", seed) for seed in (1, 2, 3)), ("thermal runaway", 1)],
)
def test_a_unit_that_destroys_itself_is_stopped_in_time(what: str, seed: int) -> None:
    found = fate(what, seed)
    assert found.right, found.said
