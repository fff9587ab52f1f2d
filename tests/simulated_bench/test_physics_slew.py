"""Output and reservoir on their way, stored energy, and a reference that cools down."""

from dataclasses import replace
from math import exp

import numpy as np
import pytest

from simulated_bench.scenario import load
from simulated_bench.setting import dial
from simulated_bench.slew import Charge
from simulated_bench.world import World


def switched_on(at_s: float = 5.0, volts: float = 30.0) -> World:
    world = World(load("healthy"), 1)
    world.advance_to(at_s)
    setting = dial(world.parts.setting, volts)
    world.set_controls(replace(world.controls, output_on=True, setting=setting))
    return world


def test_the_output_rises_as_the_limit_charges_its_capacitor() -> None:
    world = switched_on()
    farads = world.parts.regulator.output_capacitance_f
    times = np.array([1e-3, 2e-3])
    volts = world.waveform("terminals", world.now + times)
    # C·ΔV = I·t at constant current; the limit at half the voltage is 3.35 A (seed 1's truth).
    assert farads * (volts[1] - volts[0]) == pytest.approx(3.35 * 1e-3, rel=0.01)
    assert world.waveform("terminals", np.array([world.now - 1.0]))[0] < 1e-9
    world.advance_to(world.now + 0.1)
    assert world.voltage("sense") == pytest.approx(30.0, abs=0.1)


def test_a_lower_setting_is_reached_through_the_bleeder_alone() -> None:
    world = switched_on()
    world.advance_to(20.0)
    begin = world.voltage("terminals")
    regulator = world.parts.regulator
    tau = regulator.bleeder_ohm * regulator.output_capacitance_f
    world.set_controls(replace(world.controls, setting=dial(world.parts.setting, 10.0)))
    for after in (0.2, 0.6):
        world.advance_to(20.0 + after)
        assert world.voltage("terminals") == pytest.approx(begin * exp(-after / tau), rel=5e-3)
    world.advance_to(25.0)
    assert world.voltage("sense") == pytest.approx(10.0, abs=0.1)


def test_a_load_that_crosses_the_limit_takes_the_output_down_in_milliseconds() -> None:
    world = switched_on()
    world.advance_to(20.0)
    world.set_load("current", 4.0, on=True)
    volts = world.waveform("terminals", 20.0 + np.linspace(0.0, 0.1, 2001))
    assert volts[0] == pytest.approx(30.0, abs=0.1)
    assert np.all(np.diff(volts[5:]) < 0.02)
    # C·V over what the load draws beyond the limit, 4 A less 3.35 A.
    expected = world.parts.regulator.output_capacitance_f * 20.0 / 0.65
    time_20_v = 0.05e-3 * np.argmax(volts < volts[0] - 20.0)
    assert time_20_v == pytest.approx(expected, rel=0.1)
    world.advance_to(21.0)
    assert world.voltage("load") < 1.0


def test_an_empty_reservoir_is_charged_within_a_few_periods() -> None:
    world = switched_on()
    world.set_load("resistance", 10.0, on=True)
    world.advance_to(20.0)
    world.set_controls(replace(world.controls, line_on=False))
    world.advance_to(30.0)
    assert world.voltage("terminals") < 0.1
    world.set_controls(replace(world.controls, line_on=True))
    volts = world.waveform("terminals", 30.0 + np.array([1e-3, 0.2]))
    assert volts[0] < 15.0
    assert volts[1] == pytest.approx(30.0, abs=0.2)
    # The half sine less what stands against it, averaged by numpy.
    charge = Charge(43.8, 1.8, 0.2, 0.01, 2)
    wave = np.maximum(43.8 * np.abs(np.sin(np.linspace(0, np.pi, 200_001))) - 1.8 - 25.0, 0.0)
    assert charge.mean_a(25.0) == pytest.approx(np.mean(wave) / 0.2, rel=1e-4)


def test_a_reservoir_stays_charged_without_line_and_feeds_an_output_that_is_switched_on() -> None:
    world = switched_on()
    world.advance_to(20.0)
    world.set_controls(replace(world.controls, output_on=False))
    world.set_controls(replace(world.controls, line_on=False))
    world.advance_to(80.0)
    assert world.voltage("terminals") < 1e-3
    assert world.moment().point.reservoir_v > 35.0
    world.set_controls(replace(world.controls, output_on=True))
    world.advance_to(80.1)
    assert world.voltage("terminals") > 25.0
    world.advance_to(600.0)
    assert world.voltage("terminals") < 0.1


def test_the_reference_forgets_its_warm_up_while_the_line_is_off() -> None:
    reference = World(load("healthy"), 1).parts.reference
    tau = reference.tail_time_s
    off = reference.switched(3.0 * tau, powered=False)
    on = off.switched(4.0 * tau, powered=True)
    cold = 1.0 - (1.0 - exp(-3.0)) * exp(-1.0)
    for one, at, left in ((reference, tau, exp(-1.0)), (on, 4.0 * tau, cold)):
        with_tail = one.ratio(at, 25.0)
        without = replace(one, tail=0.0).ratio(at, 25.0)
        assert with_tail - without == pytest.approx(one.tail * left, rel=1e-9)
    assert on.switched(5.0 * tau, powered=True) is on
