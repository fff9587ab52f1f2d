"""The world: the same bench for everyone who asks, however they ask."""

from dataclasses import replace

import numpy as np
import pytest

from simulated_bench.draw import Draws
from simulated_bench.quantities import Uncertain
from simulated_bench.scenario import load, shipped
from simulated_bench.setting import dial
from simulated_bench.world import World


def loaded(seed: int = 1, scenario: str = "healthy", current: float = 3.0) -> World:
    world = World(load(scenario), seed)
    world.advance_to(10.25)
    setting = dial(world.parts.setting, 30.0)
    world.set_controls(replace(world.controls, output_on=True, setting=setting))
    world.advance_to(20.5)
    world.set_load("current", current, on=True)
    return world


def test_one_second_steps_and_long_jumps_reach_the_same_state() -> None:
    steps, jumps, uneven = loaded(), loaded(), loaded()
    for second in range(21, 1821):
        steps.advance_to(float(second))
        steps.voltage("load", 0.1)
    for at in range(60, 1821, 60):
        jumps.advance_to(float(at))
    generator = np.random.default_rng(5)
    while uneven.now < 1820.0:
        uneven.advance_to(min(1820.0, uneven.now + generator.uniform(0.01, 40.0)))
        uneven.voltage("sense")
        uneven.temperature("junction")
    for world in (steps, jumps, uneven):
        world.advance_to(1820.0)
    assert steps.voltage("sense") == pytest.approx(jumps.voltage("sense"), abs=1e-9)
    assert steps.voltage("sense") == pytest.approx(uneven.voltage("sense"), abs=1e-9)
    assert steps.temperature("junction") == pytest.approx(uneven.temperature("junction"), abs=1e-9)


def test_asking_changes_nothing() -> None:
    world = loaded()
    world.advance_to(100.4)
    before = world.voltage("sense")
    for _ in range(10):
        world.voltage("terminals", 0.02)
        world.ripple_rms("load")
        world.temperature("reference")
    assert world.voltage("sense") == before


def test_time_never_goes_back() -> None:
    world = loaded()
    world.advance_to(50.0)
    world.advance_to(40.0)
    assert world.now == 50.0


def test_the_same_seed_is_the_same_bench_and_another_is_not() -> None:
    def reading(seed: int) -> float:
        world = loaded(seed)
        world.advance_to(3000.0)
        return world.voltage("sense")

    assert reading(7) == reading(7)
    assert reading(7) != reading(8)


def test_a_draw_depends_on_its_own_name_only() -> None:
    draws = Draws(3)
    alone = draws.value("a", Uncertain(1.0, 0.5))
    draws.value("b", Uncertain(1.0, 0.5))
    assert Draws(3).value("a", Uncertain(1.0, 0.5)) == alone
    assert Draws(3).value("b", Uncertain(1.0, 0.5)) != alone
    assert abs(alone - 1.0) <= 0.5


def test_the_shunt_shows_the_current_through_the_wiring() -> None:
    world = loaded()
    resistance = world.voltage("shunt") / world.current()
    assert resistance == pytest.approx(0.01, rel=1.2e-3)


def test_output_off_discharges_the_terminals_through_the_bleeder() -> None:
    world = loaded(current=0.0)
    world.set_load("current", 0.0, on=False)
    world.advance_to(30.0)
    full = world.voltage("terminals")
    world.set_controls(replace(world.controls, output_on=False))
    regulator = world.parts.regulator
    tau = regulator.bleeder_ohm * regulator.output_capacitance_f
    world.advance_to(30.0 + tau)
    assert world.voltage("terminals") == pytest.approx(full * 0.367879, rel=1e-3)
    world.set_load("resistance", 1.0, on=True)
    world.advance_to(world.now + 1.0)
    assert world.voltage("terminals") < 1e-6


def test_no_voltage_before_the_output_is_on_and_none_without_line() -> None:
    world = World(load("healthy"), 1)
    world.advance_to(5.0)
    assert world.voltage("terminals") == 0.0
    world = loaded()
    world.set_controls(replace(world.controls, line_on=False))
    world.advance_to(60.0)
    assert abs(world.voltage("terminals")) < 1e-6


def test_a_window_of_whole_line_periods_removes_the_ripple_and_half_of_one_does_not() -> None:
    world = loaded(scenario="dried-out-reservoir")
    world.advance_to(60.0)
    slow = world.voltage("sense")
    assert world.voltage("sense", 0.1) == pytest.approx(slow, abs=1e-9)
    assert abs(world.voltage("sense", 0.004) - slow) > 1e-3


def test_thermal_runaway_destroys_the_pass_element_and_says_so() -> None:
    world = loaded(scenario="thermal-runaway")
    world.advance_to(3600.0)
    assert world.temperature("heatsink") > 75.0
    world.advance_to(9000.0)
    assert [event.kind for event in world.events] == ["damage"]
    assert world.voltage("sense") > 33.0


def test_healthy_stays_cool_at_full_power_and_in_a_limit_sweep() -> None:
    world = loaded()
    world.advance_to(4 * 3600.0)
    world.set_load("voltage", 1.0, on=True)
    world.advance_to(world.now + 120.0)
    assert world.temperature("heatsink") < 60.0
    assert world.temperature("junction") < 120.0


@pytest.mark.parametrize("name", shipped())
def test_every_shipped_scenario_makes_a_world_that_runs(name: str) -> None:
    world = loaded(scenario=name, current=1.0)
    world.advance_to(60.0)
    assert np.isfinite(world.voltage("load", 0.1))
    assert world.ripple_rms("load") > 0.0
