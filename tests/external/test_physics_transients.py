"""Load steps and hold-up against ngspice, closed forms and other people's integrators."""

import shutil
import subprocess
from dataclasses import replace
from math import exp, pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from simulated_bench.hold_up import hold_up
from simulated_bench.scenario import load
from simulated_bench.setting import dial
from simulated_bench.transient import OutputImpedance, step_figures
from simulated_bench.world import World

pytestmark = pytest.mark.external

NETLIST = """output impedance under a step of current
R1 0 a {r}
L1 a out {l}
C1 out e {c}
R2 e 0 {esr}
I1 out 0 PWL(0 0 10u 0 {ramped} {step} 1 {step})
.options method=trap reltol=1e-6 abstol=1e-9 vntol=1e-9
.control
set numdgt=12
tran 0.1u {end} 0 0.1u
linearize v(out)
wrdata {out} v(out)
quit
.endc
.end
"""
HEALTHY = OutputImpedance(1e-3, 0.4e-6, 470e-6, 40e-3)
RINGING = OutputImpedance(1e-3, 3e-6, 470e-6, 5e-3)
DULL = OutputImpedance(1e-3, 0.1e-6, 470e-6, 80e-3)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="needs Debian's ngspice")
@pytest.mark.parametrize("output", [HEALTHY, RINGING, DULL], ids=["healthy", "ringing", "dull"])
@pytest.mark.parametrize("rise_s", [5e-6, 50e-6])
def test_a_load_step_agrees_with_ngspice(
    tmp_path: Path, output: OutputImpedance, rise_s: float
) -> None:
    step, netlist, out = 1.5, tmp_path / "step.cir", tmp_path / "step.txt"
    netlist.write_text(
        NETLIST.format(
            r=output.resistance_ohm, l=output.inductance_h, c=output.capacitance_f,
            esr=output.series_ohm, step=step, ramped=10e-6 + rise_s, end=1e-3, out=out,
        )
    )  # fmt: skip
    subprocess.run(["ngspice", "-b", str(netlist)], capture_output=True, timeout=60, check=False)
    times, volts = np.loadtxt(out).T
    found = output.departure(times - 10e-6, step, rise_s) - step * output.resistance_ohm
    apart = np.max(np.abs(found - volts)) / np.max(np.abs(volts))
    assert apart < 1e-3  # of the dip


def test_damping_is_the_textbooks() -> None:
    # Second order: successive peaks of one side shrink by exp(−2πζ/√(1 − ζ²)), a period apart.
    zeta, omega = RINGING.damping, 2 * pi * RINGING.frequency_hz
    period = 2 * pi / omega / sqrt(1 - zeta**2)
    times = np.linspace(0.0, 3 * period, 300_001)
    departure = RINGING.departure(times, 1.0)
    rising = np.flatnonzero((departure[1:-1] > departure[:-2]) & (departure[1:-1] > departure[2:]))
    first, second = rising[0] + 1, rising[1] + 1
    assert times[second] - times[first] == pytest.approx(period, rel=1e-4)
    shrinks = exp(-2 * pi * zeta / sqrt(1 - zeta**2))
    assert departure[second] / departure[first] == pytest.approx(shrinks, rel=1e-4)


def test_a_step_begins_at_the_capacitors_resistance_and_ends_at_the_loops() -> None:
    # Initial and final value theorems of the Laplace transform.
    ends = HEALTHY.departure(np.array([0.0, 1.0]), 2.0)
    assert ends[0] == pytest.approx(-2.0 * (HEALTHY.series_ohm - HEALTHY.resistance_ohm), rel=1e-6)
    assert abs(ends[1]) < 1e-12


def test_step_figures_tell_a_ringing_loop_from_a_healthy_one() -> None:
    healthy, ringing = step_figures(HEALTHY, 1.5, 5e-3), step_figures(RINGING, 1.5, 5e-3)
    assert 0.05 < healthy.dip < 0.07
    assert ringing.dip > 1.5 * healthy.dip
    assert ringing.overshoot > 5 * healthy.overshoot
    assert ringing.recovery > 5 * healthy.recovery
    # The last ring inside the band: the envelope Z₀·ΔI·exp(−ζω₀t), within half a period.
    omega = 2 * pi * RINGING.frequency_hz
    envelope = 1.5 * sqrt(RINGING.inductance_h / RINGING.capacitance_f)
    expected = np.log(envelope / 5e-3) / (RINGING.damping * omega)
    assert ringing.recovery == pytest.approx(expected, abs=pi / omega)


def test_a_reservoir_under_constant_current_empties_in_a_straight_line() -> None:
    # t = C·ΔV/I: 10 mF, 40 V to 32 V at 3 A is 26.7 ms; then C + C_out to the saturation.
    found = hold_up(5.0, 40.0, 2.0, 10e-3, 0.5e-3, lambda volts: (3.0, volts < 32.0))
    assert found is not None
    assert found.at(5.0 + 8.0 * 10e-3 / 3.0) == pytest.approx(32.0, abs=5e-3)
    whole = (8.0 * 10e-3 + (32.0 - 2.02) * 10.5e-3) / 3.0
    assert found.until_s - 5.0 == pytest.approx(whole, rel=1e-3)


def test_a_reservoir_under_a_resistor_empties_as_an_exponential() -> None:
    found = hold_up(0.0, 40.0, 0.0, 10e-3, 0.0, lambda volts: (volts / 20.0, False))
    assert found is not None
    for time in (0.05, 0.2, 0.5):
        assert found.at(time) == pytest.approx(40.0 * exp(-time / 0.2), rel=3e-3)


@pytest.mark.parametrize("ohm", [10.0, 30.0])
def test_the_world_holds_up_as_an_independent_integrator_says(ohm: float) -> None:
    world = World(load("healthy"), 1)
    setting = dial(world.parts.setting, 30.0)
    world.set_controls(replace(world.controls, output_on=True, setting=setting))
    world.set_load("resistance", ohm, on=True)
    world.advance_to(20.0)
    start, held = world.moment().point, world.voltage("sense")
    world.set_controls(replace(world.controls, line_on=False))
    reservoir, output = world.parts.rectifier.capacitance_f, 0.0
    saturation, bleeder = world.parts.regulator.saturation_v, world.parts.regulator.bleeder_ohm
    output = world.parts.regulator.output_capacitance_f

    def falls(_time: float, state: np.ndarray) -> list[float]:
        # A stiff source of `held` volts until the pass element saturates, then a follower.
        volts = min(start.terminals_v, max(state[0] - saturation, 0.0))
        current = volts * (start.shunt_a / start.terminals_v + 1.0 / bleeder)
        saturated = state[0] - saturation < start.terminals_v
        return [-current / (reservoir + (output if saturated else 0.0))]

    times = np.array([0.01, 0.02, 0.05, 0.1, 0.2, 0.4])
    outside = solve_ivp(falls, (0.0, 0.4), [start.reservoir_v], t_eval=times, max_step=1e-4).y[0]
    for time, volts in zip(times, outside, strict=True):
        world.advance_to(20.0 + float(time))
        expected = min(held, (volts - saturation) * held / start.terminals_v)
        # Found 8 mV at the end, else 1 mV.
        assert world.voltage("sense") == pytest.approx(expected, abs=0.01)
