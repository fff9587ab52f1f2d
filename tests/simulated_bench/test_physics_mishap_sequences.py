"""Any sequence of faults and controls leaves a bench that answers, the same however time passes."""

from dataclasses import replace
from functools import cache
from math import isfinite
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from simulated_bench.scenario import load
from simulated_bench.scenario_faults import UnitFaultTable
from simulated_bench.scenario_models import Scenario
from simulated_bench.setting import dial
from simulated_bench.world import World

LASTING = {"lasts": "4 s"}
FAULTS: tuple[dict[str, Any], ...] = (
    {"what": "pass element short"},
    {"what": "pass element open"},
    {"what": "dead diode"},
    {"what": "dried-out reservoir", "to": "20 %"},
    {"what": "reference leak", "by": "1 %", "over": "1 min"},
    {"what": "trimmer jump", "step": "-40 V"},
    {"what": "sense lead open", "side": "both"},
    {"what": "sense lead open", "side": "minus", **LASTING},
    {"what": "leaky limit transistor", "to": "900 %"},
    {"what": "oscillation", "step": "1 V"},
    {"what": "loose heatsink", "to": "2000 %"},
    {"what": "line failure", **LASTING},
    {"what": "line failure"},
    {"what": "line surge", "by": "40 %", **LASTING},
    {"what": "line sag", "by": "90 %", **LASTING},
    {"what": "door opened", "drop": "10 K", "over": "5 min"},
    {"what": "smoke", **LASTING},
)
LOADS = (("current", 3.0), ("current", 4.5), ("voltage", 5.0), ("resistance", 8.0), ("power", 60.0))


@cache
def healthy() -> Scenario:
    return load("healthy")


@st.composite
def stories(draw: st.DrawFn) -> Scenario:
    tables = draw(st.lists(st.sampled_from(FAULTS), min_size=1, max_size=5, unique_by=str))
    faults = tuple(
        UnitFaultTable.model_validate({"at": f"{draw(st.integers(0, 60)) / 2} s", **table})
        for table in tables
    )
    return healthy().model_copy(update={"all_faults": faults})


def begun(story: Scenario, mode: str, level: float) -> World:
    world = World(story, 1)
    setting = dial(world.parts.setting, 30.0)
    world.set_controls(replace(world.controls, output_on=True, setting=setting))
    world.set_load(mode, level, on=True)
    return world


@settings(max_examples=60, deadline=None)
@given(stories(), st.sampled_from(LOADS), st.booleans())
def test_a_bench_survives_what_happens_to_it(
    story: Scenario, load: tuple[str, float], switched: bool
) -> None:
    worlds = [begun(story, *load) for _ in range(2)]
    for quarter in range(1, 161):
        worlds[0].advance_to(0.25 * quarter)
        for place in ("terminals", "sense", "load", "panel"):
            assert -1.0 < worlds[0].voltage(place, 0.02) < 70.0
        assert isfinite(worlds[0].ripple_rms("load"))
        assert -0.1 < worlds[0].current() < 6.0
        if quarter in (70, 90) and switched:
            for world in worlds:
                world.advance_to(0.25 * quarter)
                switch = quarter == 90
                world.set_controls(replace(world.controls, line_on=switch))
    worlds[1].advance_to(40.0)
    for place in ("terminals", "sense", "load"):
        assert abs(worlds[0].voltage(place) - worlds[1].voltage(place)) < 1e-6
    assert worlds[0].events == worlds[1].events
