"""The truth of heat, set points, ammeters' load and Allan deviations, by letting the bench live."""

from dataclasses import replace

import allantools
import numpy as np
import pytest

from simulated_bench.quantities import Uncertain
from simulated_bench.scenario import load
from simulated_bench.scenario_models import Scenario
from simulated_bench.truth_heat import heat
from simulated_bench.truth_load import load_effect
from simulated_bench.truth_setting import POSITIONS, set_points
from simulated_bench.truth_soak import soak
from simulated_bench.truth_state import set_up
from simulated_bench.world import World

STILL = Uncertain(0.0)
DAY_S = 86_400.0


def still(name: str = "healthy") -> Scenario:
    """Return a bench on which room and line stand still."""
    scenario = load(name)
    room = scenario.room.model_copy(update=dict.fromkeys(("daily", "heating", "wander"), STILL))
    line = scenario.line.model_copy(update={"wander": STILL})
    return scenario.model_copy(update={"room": room, "line": line})


def test_a_unit_that_is_left_loaded_comes_to_the_true_rise_in_the_true_time() -> None:
    scenario = still()
    world = set_up(scenario, 3)
    true = heat(scenario, world)
    start = world.now
    world.set_load("current", 3.0, on=True)
    parts = []
    for ways in (2.0, 3.0):
        world.advance_to(start + ways * true["heatsink_time_constant"])
        parts.append(world.temperature("heatsink") - world.temperature("ambient"))
    world.advance_to(start + DAY_S / 4)
    rise = world.temperature("heatsink") - world.temperature("ambient")
    point = world.moment().point
    power = (point.reservoir_v - point.terminals_v) * (point.shunt_a + point.bleeder_a)
    assert rise == pytest.approx(true["heatsink_rise"], rel=1e-3)
    assert power == pytest.approx(true["dissipation"], rel=1e-3)
    assert true["heatsink_rise_per_watt"] == pytest.approx(rise / power, rel=1e-3)
    # In each time constant what is left falls to its e-th part.
    assert rise - parts[1] == pytest.approx(np.exp(-1) * (rise - parts[0]), rel=5e-3)


def test_the_true_set_points_are_what_a_programmed_unit_gives() -> None:
    scenario = still("remote")
    world = set_up(scenario, 5)
    true = set_points(scenario, world)
    wanted = np.linspace(0.0, 30.0, POSITIONS)
    volts = []
    for setting in wanted:
        world.program(float(setting), 3.0, output_on=True)
        world.advance_to(world.now + 2.0)
        volts.append(world.voltage("sense"))
    slope, offset = np.polyfit(wanted, volts, 1)
    # The reference's own walk over 20 s is about 60 µV at 30 V.
    assert np.max(np.abs(volts - wanted)) == pytest.approx(true["setting_error"], abs=5e-4)
    assert slope - 1 == pytest.approx(true["setting_gain_error"], abs=2e-5)
    assert offset == pytest.approx(true["setting_offset"], abs=5e-4)


def test_a_unit_that_is_set_by_hand_has_no_set_points() -> None:
    scenario = still()
    assert set_points(scenario, set_up(scenario, 1)) == {}


def test_sense_points_that_are_held_make_up_for_all_but_the_units_own_fall() -> None:
    scenario = still()
    true = load_effect(scenario, set_up(scenario, 2))
    assert true["sense_following"] == pytest.approx(1 + true["load_change"] / true["lead_drop"])
    assert true["sense_length"] == pytest.approx(145.0 * true["sense_resistance"])
    assert true["load_change_ratio"] == pytest.approx(true["load_change"] / 30.0)


def test_true_allan_deviations_are_those_of_allantools() -> None:
    scenario = load("healthy")
    stated = {"warm_up": Uncertain(120.0), "soak": Uncertain(3600.0)}
    scenario = scenario.model_copy(update={"stated": scenario.stated.model_copy(update=stated)})
    world = set_up(scenario, 4)
    found = soak(scenario, world, 0.0)
    again = set_up(scenario, 4)
    again.advance_to(90.0)
    again.set_load("current", 3.0, on=True)
    means = []
    for minute in range(60):
        volts = []
        for second in range(60):
            again.advance_to(210.0 + 60 * minute + second)
            volts.append(again.voltage("sense"))
        means.append(np.mean(volts))
    # NIST SP 1065, 5.2.4, by another's hand.
    _, wanted, _, _ = allantools.oadev(
        np.array(means), rate=1 / 60, data_type="freq", taus=[60.0, 600.0]
    )
    names = ("allan_deviation_1min", "allan_deviation_10min")
    assert [found[name] for name in names] == pytest.approx(list(wanted), rel=1e-6)
    assert "allan_deviation_1h" not in found


def test_an_output_that_does_not_slew_arrives_at_once() -> None:
    scenario = load("healthy")
    arrived = []
    for slews in (True, False):
        regulator = scenario.regulator.model_copy(update={"slews": slews})
        world = World(scenario.model_copy(update={"regulator": regulator}), 1)
        world.set_controls(replace(world.controls, line_on=True))
        world.advance_to(10.0)
        set_to = replace(
            world.controls, output_on=True, setting=set_up(scenario, 1).controls.setting
        )
        world.set_controls(set_to)
        arrived.append(world.voltage("sense"))
    assert arrived[0] < 1.0
    assert arrived[1] == pytest.approx(30.0, abs=0.01)
