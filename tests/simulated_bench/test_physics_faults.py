"""Faults of unit and room that a scenario schedules: each at its time, each seen, each logged."""

from dataclasses import replace
from pathlib import Path

import pytest

from simulated_bench.errors import ScenarioError
from simulated_bench.scenario import load
from simulated_bench.setting import dial
from simulated_bench.world import World

AT_S = 9 * 60.0
"""When shipped faults begin: acceptance holds the unit at full load then."""

WARM_S = 45 * 60.0
"""When what passes by itself happens again, for a soak that has warmed up."""


def loaded(name: str | Path, current: float = 3.0) -> World:
    world = World(load(name), 1)
    setting = dial(world.parts.setting, 30.0)
    world.set_controls(replace(world.controls, output_on=True, setting=setting))
    world.set_load("current", current, on=True)
    return world


def written(folder: Path, faults: str) -> Path:
    path = folder / "own.toml"
    path.write_text(f'name = "own"\ndescription = "x"\nbased_on = "healthy"\n{faults}')
    return path


@pytest.mark.parametrize(
    ("name", "least_v", "most_v"),
    [
        ("pass-element-shorts", 5.0, 12.0),
        ("pass-element-opens", -30.1, -29.9),
        ("diode-dies", -2.0, -0.1),
        ("reservoir-dries-out", -3.0, -0.5),
        ("trimmer-jumps", -0.046, -0.044),
        ("sense-lead-comes-off", 0.4, 0.7),
        ("limit-begins-to-leak", -0.06, -0.02),
        ("line-fails", -30.1, -29.9),
        ("line-sags", -4.0, -1.0),
        ("line-surges", 3e-4, 3e-3),
    ],
)
def test_the_output_jumps_when_the_fault_begins(name: str, least_v: float, most_v: float) -> None:
    world = loaded(name)
    world.advance_to(AT_S - 1.0)
    before = world.voltage("sense")
    assert not world.events
    world.advance_to(AT_S + 1.0)
    assert least_v < world.voltage("sense") - before < most_v
    assert [(event.time_s, event.kind) for event in world.events] == [(AT_S, "fault")]


def test_a_reference_that_begins_to_leak_sinks_from_then_on() -> None:
    world, sound = loaded("reference-begins-to-leak"), loaded("healthy")
    for at, least, most in (
        (AT_S, -1e-9, 1e-9),
        (AT_S + 600.0, -12e-3, -4e-3),
        (14400.0, -0.2, -0.05),
    ):
        world.advance_to(at)
        sound.advance_to(at)
        assert least <= world.voltage("sense") - sound.voltage("sense") <= most


def test_an_opened_door_cools_heatsink_and_reference() -> None:
    world, sound = loaded("door-opened"), loaded("healthy")
    for one in (world, sound):
        one.advance_to(WARM_S + 300.0)
    assert world.temperature("ambient") - sound.temperature("ambient") == pytest.approx(
        -5.7, abs=0.2
    )
    assert world.temperature("heatsink") < sound.temperature("heatsink") - 0.5
    # 20 ppm/K ± 6 of 30 V, and some kelvins at the reference
    assert 0.3e-3 < abs(world.voltage("sense") - sound.voltage("sense")) < 5e-3
    assert [event.text for event in world.happened("fault")] == ["door opened begins"]


def test_a_surge_heats_and_is_told_to_be_over() -> None:
    world, sound = loaded("line-surges"), loaded("healthy")
    for one in (world, sound):
        one.advance_to(AT_S + 599.0)
    assert world.temperature("heatsink") > sound.temperature("heatsink") + 1.0
    world.advance_to(WARM_S + 601.0)
    times = [AT_S, AT_S + 600.0, WARM_S, WARM_S + 600.0]
    assert [event.time_s for event in world.events] == times


def test_a_loose_heatsink_ends_the_pass_element() -> None:
    world = loaded("heatsink-comes-loose")
    world.advance_to(AT_S)
    before = world.temperature("heatsink")
    world.advance_to(AT_S + 600.0)
    assert world.temperature("heatsink") > before + 5.0
    world.advance_to(AT_S + 8 * 3600.0)
    assert [event.kind for event in world.events] == ["fault", "damage"]


def test_when_a_fault_begins_may_be_left_to_the_seed(tmp_path: Path) -> None:
    fault = '[[faults]]\nat = "60 s ± 40 s"\nwhat = "line failure"\nlasts = "2 s"\n'
    scenario = load(written(tmp_path, fault))
    times = []
    for seed in (1, 2, 3, 1):
        world = World(scenario, seed)
        world.advance_to(200.0)
        times.append([event.time_s for event in world.events])
    assert times[0] == times[3]
    assert times[0] != times[1] != times[2]
    assert all(20.0 <= one <= 100.0 and over == pytest.approx(one + 2.0) for one, over in times)


def test_dead_diode_dried_out_reservoir_and_oscillation_show_as_ripple() -> None:
    for name in ("diode-dies", "reservoir-dries-out", "loop-begins-to-oscillate"):
        world = loaded(name)
        world.advance_to(AT_S - 1.0)
        before = world.ripple_rms("sense")
        world.advance_to(AT_S + 1.0)
        assert world.ripple_rms("sense") > 100.0 * before


def test_the_line_comes_back_and_so_does_the_output() -> None:
    world = loaded("line-fails")
    world.advance_to(AT_S - 1.0)
    before = world.voltage("sense")
    world.advance_to(AT_S + 61.0)
    assert world.voltage("sense") == pytest.approx(before, abs=5e-3)
    world.advance_to(AT_S + 3600.0)
    assert len(world.events) == 4


@pytest.mark.parametrize(
    ("name", "raised", "until_s"),
    [("smoke", "smoke", 120.0), ("interlock-opened", "interlock", float("inf"))],
)
def test_safety_inputs_are_raised_and_cleared(name: str, raised: str, until_s: float) -> None:
    world = loaded(name)
    world.advance_to(AT_S - 1.0)
    assert not world.interlock(raised)
    world.advance_to(AT_S + 1.0)
    assert world.interlock(raised)
    assert not world.interlock("other")
    world.advance_to(AT_S + 130.0)
    assert world.interlock(raised) == (until_s > 130.0)


def test_a_lead_that_is_put_back_restores_the_output(tmp_path: Path) -> None:
    fault = '[[faults]]\nat = "10 s"\nwhat = "sense lead open"\nside = "both"\nlasts = "20 s"\n'
    world = loaded(written(tmp_path, fault))
    world.advance_to(9.0)
    before = world.voltage("sense")
    world.advance_to(15.0)
    assert world.voltage("sense") - before > 0.8
    world.advance_to(31.0)
    assert world.voltage("sense") == pytest.approx(before, abs=1e-3)


def test_faults_do_not_depend_on_how_time_passes(tmp_path: Path) -> None:
    faults = (
        '[[faults]]\nat = "100.3 s"\nwhat = "dead diode"\n'
        '[[faults]]\nat = "10 s"\nwhat = "line failure"\nlasts = "3 s"\n'
    )
    path = written(tmp_path, faults)
    one, other = loaded(path), loaded(path)
    for step in range(1, 1200):
        one.advance_to(0.25 * step)
        one.voltage("load", 0.02)
    for world in (one, other):
        world.advance_to(300.0)
    assert one.voltage("sense") == pytest.approx(other.voltage("sense"), abs=1e-9)
    assert one.events == other.events
    assert [event.time_s for event in one.events] == [10.0, 13.0, 100.3]


def test_what_a_fault_says_is_checked(tmp_path: Path) -> None:
    faults = (
        '[[faults]]\nat = "1 min"\nwhat = "trimmer jump"\n'
        '[[faults]]\nat = "1 min"\nwhat = "dead diode"\nstep = "3 V"\n'
        '[[faults]]\nat = "1 min"\nwhat = "line sag"\nby = "-3 %"\nlasts = "1 s"\n'
        '[[faults]]\nat = "1 min"\nwhat = "boredom"\n'
    )
    with pytest.raises(ScenarioError) as caught:
        load(written(tmp_path, faults))
    told = caught.value.mistakes
    assert len(told) == 4
    assert "faults.0" in told[0]
    assert "step" in told[0]
    assert "found step" in told[1]
    assert "by: expected more than 0" in told[2]
    assert "dead diode" in told[3]


def test_faults_of_instruments_are_handed_on_as_they_stand(tmp_path: Path) -> None:
    faults = (
        '[[faults]]\ninstrument = "load"\nwhat = "no answer"\nat = "1 min"\n'
        '[[faults]]\nat = "1 min"\nwhat = "smoke"\n'
    )
    scenario = load(written(tmp_path, faults))
    assert scenario.faults == ({"instrument": "load", "what": "no answer", "at": "1 min"},)
    assert [fault.what for fault in scenario.unit_faults] == ["smoke"]
