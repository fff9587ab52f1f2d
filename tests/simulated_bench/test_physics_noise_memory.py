"""Random functions of bench time keep a few blocks, and are the same whatever was dropped."""

import pytest

from simulated_bench.draw import Draws
from simulated_bench.noise import (
    BLOCK,
    KEPT_BLOCKS,
    GridSeries,
    flicker,
    jumps,
    random_walk,
    wander,
)

MADE = {
    "flicker": lambda: flicker(Draws(1), "a", 1.0),
    "wander": lambda: wander(Draws(1), "b", 1.0, 5.0),
    "walk": lambda: random_walk(Draws(1), "c", 1.0),
    "jumps": lambda: jumps(Draws(1), "d", 1e-3, 1.0),
}


@pytest.mark.parametrize("name", MADE)
def test_a_week_keeps_a_few_blocks_and_going_back_finds_the_same(name: str) -> None:
    series: GridSeries = MADE[name]()
    times = [series.period_s * (BLOCK * block + 17.25) for block in range(3 * KEPT_BLOCKS)]
    there = [series.at(time) for time in times]
    assert len(series._blocks) == KEPT_BLOCKS
    assert [series.at(time) for time in reversed(times)] == there[::-1]
