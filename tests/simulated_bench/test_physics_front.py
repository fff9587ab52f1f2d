"""The unit's face: panel meters, remote control, and what an oscilloscope would see."""

from dataclasses import replace

import numpy as np
import pytest

from simulated_bench.errors import BenchError
from simulated_bench.panel import PanelMeter
from simulated_bench.scenario import load
from simulated_bench.setting import dial
from simulated_bench.world import World


def loaded(name: str = "healthy", seed: int = 1, current: float = 1.5) -> World:
    world = World(load(name), seed)
    setting = dial(world.parts.setting, 30.0)
    world.set_controls(replace(world.controls, output_on=True, setting=setting))
    world.advance_to(5.0)
    world.set_load("current", current, on=True)
    return world


def test_a_panel_meter_rounds_and_stops_at_its_ends() -> None:
    meter = PanelMeter(gain=0.01, offset=-0.2, resolution=0.1, full_scale=35.0)
    assert meter.shows(30.0) == pytest.approx(30.1)
    assert meter.shows(0.1) == 0.0
    assert meter.shows(50.0) == pytest.approx(35.0)


def test_panel_meters_are_wrong_within_what_they_may_be_and_differ_between_units() -> None:
    shown = set()
    for seed in range(1, 8):
        world = loaded(seed=seed)
        assert abs(world.voltage("panel") - world.voltage("terminals")) < 0.015 * 30 + 0.2 + 0.05
        assert abs(world.current("panel") - world.current()) < 0.015 * 1.5 + 0.02 + 0.01
        shown.add(round(world.voltage("panel"), 3))
        assert world.voltage("panel") / 0.1 == pytest.approx(round(world.voltage("panel") / 0.1))
    assert len(shown) > 2


def test_a_remote_unit_takes_steps_with_gain_and_offset() -> None:
    world = World(load("remote"), 3)
    remote = world.parts.setting.remote
    assert remote is not None
    world.program(12.3456, 1.0, output_on=True)
    world.advance_to(1.0)
    expected = 12.346 * (1.0 + remote.voltage_gain) + remote.voltage_offset_v
    assert world.controls.setting.volts == pytest.approx(expected, abs=1e-9)
    assert abs(world.voltage("sense") - 12.3456) < 12.3456 * 0.0005 + 5e-3 + 0.5e-3 + 12e-3
    world.set_load("voltage", 6.0, on=True)
    world.advance_to(world.now + 0.1)  # the output capacitor empties into the load first
    # Half the voltage: the exponential adds i_w·ln(6 V/10 mV), about 50 mA, to the threshold.
    assert world.current() == pytest.approx(1.05, abs=0.02)
    world.program(12.3456, 1.0, output_on=False)
    world.advance_to(2.0)
    assert world.voltage("sense") < 6.01


def test_a_unit_with_knobs_cannot_be_programmed() -> None:
    with pytest.raises(BenchError, match="ask the person"):
        World(load("healthy"), 1).program(10.0, 1.0, output_on=True)


def test_a_load_step_is_seen_as_a_dip_that_recovers() -> None:
    world = loaded()
    world.advance_to(10.0)
    before = world.voltage("sense")
    world.set_load("current", 3.0, on=True)
    times = world.now + np.linspace(-50e-6, 2e-3, 4101)
    volts = world.waveform("sense", times)
    # Before the step only ripple lies on the settled voltage.
    assert np.max(np.abs(volts[times < 10.0] - before)) < 1e-3
    dip = before - np.min(volts)
    assert 0.03 < dip < 0.09  # about 1.5 A over 40 mΩ ± 20 %
    assert abs(volts[-1] - world.voltage("sense")) < 1e-3
    shunt = world.waveform("shunt", times) / 0.01
    assert shunt[0] == pytest.approx(1.5, rel=2e-3)
    assert shunt[-1] == pytest.approx(3.0, rel=2e-3)


def test_an_under_compensated_loop_rings() -> None:
    def crossings(name: str) -> int:
        world = loaded(name)
        world.advance_to(10.0)
        world.set_load("current", 3.0, on=True)
        times = world.now + np.linspace(0.0, 2e-3, 4001)
        away = world.waveform("sense", times) - world.voltage("sense")
        away = away[np.abs(away) > 5e-3]  # beyond what ripple makes
        return int(np.count_nonzero(np.diff(np.sign(away))))

    assert crossings("healthy") <= 2
    assert crossings("under-compensated") >= 6


def test_a_waveform_shows_ripple_and_oscillation() -> None:
    for name in ("oscillation", "dried-out-reservoir"):
        world = loaded(name, current=3.0)
        world.advance_to(20.0)
        volts = world.waveform("load", world.now + np.arange(20_000) * 5e-6)
        assert np.std(volts) == pytest.approx(world.ripple_rms("load"), rel=0.05)


def test_a_waveform_without_drive_is_flat() -> None:
    world = loaded()
    world.set_controls(replace(world.controls, output_on=False))
    world.advance_to(100.0)
    assert np.ptp(world.waveform("terminals", world.now + np.linspace(0.0, 1.0, 10))) == 0.0
