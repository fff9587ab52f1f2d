"""The bench's physics against conductor tables, textbook formulas and other people's solvers."""

import allantools
import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.linalg import expm
from scipy.optimize import brentq

from simulated_bench.discharge import voltage_after
from simulated_bench.draw import Draws
from simulated_bench.heat import HeatNetwork, HeatParts, Temperatures
from simulated_bench.load import LoadMode, LoadParts, LoadSetting, draw_current
from simulated_bench.noise import flicker, random_walk
from simulated_bench.rectifier import Rectifier, Winding
from simulated_bench.regulator import clip_loss, clip_ripple_rms
from simulated_bench.wiring import conductor_ohm, copper_factor

pytestmark = pytest.mark.external

# ASTM B258 conductor table, ohms per km at 20 °C.
WIRE_OHM_PER_KM = {
    10: 3.277, 12: 5.211, 14: 8.286, 16: 13.17, 18: 20.95, 20: 33.31, 22: 52.96, 24: 84.22,
}  # fmt: skip

# IEC 60228 class 5, plain copper: greatest ohms per km at 20 °C by nominal cross-section in mm².
GREATEST_OHM_PER_KM = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30}

LOAD = LoadParts(on_resistance_ohm=0.16, voltage_mode_ohm=5e-3, greatest_current_a=5.5)
NETWORK = HeatParts(0.3, 0.1, 0.35, 0.5, 30.0, 2100.0, 0.25, 300.0)


def cross_section(gauge: int) -> float:
    """ASTM B258: d = 0.127·92^((36−n)/39) mm; result in m²."""
    diameter = 0.127e-3 * 92.0 ** ((36 - gauge) / 39)
    return float(np.pi * diameter**2 / 4)


@pytest.mark.parametrize("gauge", sorted(WIRE_OHM_PER_KM))
def test_round_wire_agrees_with_the_conductor_table(gauge: int) -> None:
    # 0.1 %: the table rounds to four digits and takes a density-based conductivity.
    assert conductor_ohm(1000.0, cross_section(gauge)) == pytest.approx(
        WIRE_OHM_PER_KM[gauge], rel=1e-3
    )


@pytest.mark.parametrize("area", sorted(GREATEST_OHM_PER_KM))
def test_nominal_cross_sections_stay_under_the_standards_greatest(area: float) -> None:
    found = conductor_ohm(1000.0, area * 1e-6)
    assert 0.85 * GREATEST_OHM_PER_KM[area] < found < GREATEST_OHM_PER_KM[area]


def test_copper_warms_by_the_standards_coefficient() -> None:
    # IEC 60028: 0.00393 per K at 20 °C; 30 K make 11.79 %.
    assert copper_factor(50.0) == pytest.approx(1.1179, abs=1e-9)


def test_ten_millivolts_at_four_amperes_is_30_cm_of_14_gauge() -> None:
    # Common practice: 15 cm of pair; the length follows from the table, 2.5 mΩ / 8.286 Ω/km.
    assert conductor_ohm(0.30, cross_section(14)) == pytest.approx(2.5e-3, rel=0.01)


def test_ripple_of_an_ideal_bridge_nears_the_first_order_formula() -> None:
    # ΔV ≈ I/(2fC): 1 A, 50 Hz, 10 000 µF gives 1.0 V, the true one is lower; half wave twice that.
    # The less current, the shorter the winding conducts: at 0.1 A within a tenth.
    winding = Winding("w", 30.0, 31.0, 1e-3)
    for half_wave, first_order in ((False, 1.0), (True, 2.0)):
        sag = Rectifier(0.9, 0.01, 50.0, half_wave).sag(winding)
        assert 0.7 * first_order < sag.at(1.0).ripple_v < first_order
        assert 0.9 * 0.1 * first_order < sag.at(0.1).ripple_v < 0.1 * first_order


def test_ripple_of_an_ideal_bridge_by_scipy() -> None:
    # The capacitor falls linearly from the crest until the next half sine overtakes it.
    peak, current, farads, hertz = 42.0, 3.0, 0.01, 50.0

    def apart(time: float) -> float:
        return peak * abs(np.cos(2 * np.pi * hertz * time)) - (peak - current * time / farads)

    meets = brentq(apart, 0.25 / hertz, 0.5 / hertz)
    emf = peak + 1.8
    sag = Rectifier(0.9, farads, hertz).sag(Winding("w", 30.0, emf / 2**0.5, 1e-4))
    # 8 %: a stiff winding, but the diodes still resist.
    assert sag.at(current).ripple_v == pytest.approx(current * meets / farads, rel=0.08)


def test_peak_of_the_winding() -> None:
    # √2·V_sec − 2·V_diode: 31 V RMS and 0.9 V diodes give 42.04 V.
    winding = Winding("high", 30.5, 31.0, 0.8)
    assert Rectifier(0.9, 0.01, 50.0).peak(winding, 1.0) == pytest.approx(42.0406, abs=1e-3)


@pytest.mark.parametrize("headroom", [1.0, -0.3, -1.5, -2.9, -3.0, -5.0])
def test_clipping_by_a_sawtooth_agrees_with_the_averaged_waveform(headroom: float) -> None:
    asked, ripple = 30.0, 3.0
    sawtooth = asked + headroom + ripple * (np.arange(200_000) + 0.5) / 200_000
    output = np.minimum(asked, sawtooth)
    assert clip_loss(headroom, ripple)[0] == pytest.approx(asked - output.mean(), abs=1e-6)
    assert clip_ripple_rms(headroom, ripple) == pytest.approx(output.std(), abs=1e-4)


def test_discharge_through_the_bleeder_alone() -> None:
    # V₀·exp(−t/RC): 36.8 % after one RC, 1 % after 4.605 RC.
    off = LoadSetting()
    assert voltage_after(30.0, 1.0, 1000.0, 1e-3, off, LOAD) == pytest.approx(11.04, abs=5e-3)
    assert voltage_after(30.0, 4.605, 1000.0, 1e-3, off, LOAD) == pytest.approx(0.3, rel=1e-3)


@pytest.mark.parametrize(
    ("mode", "level"), [("current", 0.01), ("current", 1.0), ("resistance", 50.0), ("power", 0.5)]
)
def test_discharge_into_a_load_agrees_with_an_ode_solver(mode: LoadMode, level: float) -> None:
    setting = LoadSetting(mode, level, on=True)
    ohm, farads = 2200.0, 470e-6

    def falls(_time: float, volts: np.ndarray) -> list[float]:
        return [-(volts[0] / ohm + draw_current(LOAD, setting, float(volts[0]))[0]) / farads]

    times = np.linspace(0.0, 0.05, 6)
    solved = solve_ivp(
        falls, (0.0, 0.05), [30.0], t_eval=times, rtol=1e-9, atol=1e-9, method="LSODA"
    )
    for time, volts in zip(times, solved.y[0], strict=True):
        found = voltage_after(30.0, float(time), ohm, farads, setting, LOAD)
        assert found == pytest.approx(float(volts), abs=1e-5)


def test_heat_settles_at_power_times_resistance() -> None:
    # Ohm's law of heat: ΔT = P·ΣR. 25 W over 0.35, 0.45, 0.75 K/W.
    heat = HeatNetwork(NETWORK).step(Temperatures(20.0, 20.0, 20.0, 20.0), 25.0, 0.0, 20.0, 1e6)
    assert heat.heatsink == pytest.approx(20.0 + 25.0 * 0.35, abs=1e-6)
    assert heat.case == pytest.approx(20.0 + 25.0 * 0.45, abs=1e-6)
    assert heat.junction == pytest.approx(20.0 + 25.0 * 0.75, abs=1e-6)
    assert heat.reference == pytest.approx(20.0 + 0.25 * 25.0 * 0.35, abs=1e-6)


def test_one_thermal_capacity_follows_the_exponential() -> None:
    # With the others tiny, the heatsink rises by P·R·(1 − exp(−t/RC)): 63.2 % after one RC.
    parts = HeatParts(1e-3, 1e-3, 0.5, 1e-4, 1e-4, 1000.0, 0.25, 300.0)
    heat = HeatNetwork(parts).step(Temperatures(0.0, 0.0, 0.0, 0.0), 10.0, 0.0, 0.0, 500.0)
    assert heat.heatsink == pytest.approx(5.0 * 0.632121, rel=1e-5)


@pytest.mark.parametrize("step", [0.01, 1.0, 60.0, 5000.0])
def test_heat_step_agrees_with_the_matrix_exponential_of_scipy(step: float) -> None:
    start, power, sink, ambient = np.array([60.0, 40.0, 35.0, 25.0]), 30.0, 4.0, 21.0
    system = np.zeros((5, 5))  # four nodes and a constant
    system[0] = [-1 / 0.15, 1 / 0.15, 0, 0, power / 0.5]
    system[1] = [1 / (0.3 * 30), -1 / (0.3 * 30) - 1 / 3.0, 1 / 3.0, 0, 0]
    system[2] = [0, 1 / 210, -1 / 210 - 1 / 735, 0, sink / 2100 + ambient / 735]
    system[3] = [0, 0, 0.25 / 300, -1 / 300, 0.75 * ambient / 300]
    expected = (expm(system * step) @ np.append(start, 1.0))[:4]
    found = HeatNetwork(NETWORK).step(Temperatures(*start), power, sink, ambient, step)
    assert tuple(found) == pytest.approx(tuple(expected), abs=1e-7)


def test_flicker_has_a_flat_allan_deviation_and_a_walk_rises_as_the_root() -> None:
    # NIST SP 1065, power-law noise: σ_y(τ) ∝ τ^0 for flicker, τ^+1/2 for random walk.
    slopes = {"flicker": [], "walk": []}
    for seed in range(4):
        draws = Draws(seed)
        series = {"flicker": flicker(draws, "f", 1.0), "walk": random_walk(draws, "w", 1.0)}
        for name, one in series.items():
            values = np.array([one.at(float(second)) for second in range(30_000)])
            taus, deviation, _, _ = allantools.oadev(
                values, rate=1.0, data_type="freq", taus=[16, 32, 64, 128, 256, 512, 1024]
            )
            slopes[name].append(np.polyfit(np.log(taus), np.log(deviation), 1)[0])
    assert np.mean(slopes["flicker"]) == pytest.approx(0.0, abs=0.1)
    assert np.mean(slopes["walk"]) == pytest.approx(0.5, abs=0.1)
