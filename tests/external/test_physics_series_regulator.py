"""The regulator model fitted to a discrete series regulator that ngspice solves.

The outside numbers are ngspice's (Debian's package) on series_regulator.cir: a zener reference, an
emitter-coupled pair, three pass transistors, a limit transistor over 0.2 Ω. Differences are taken
along load lines of 1 Ω, on which a millivolt is also a milliampere.
"""

import shutil
from pathlib import Path

import numpy as np
import pytest
import series_regulator as circuit

pytestmark = [
    pytest.mark.external,
    pytest.mark.skipif(shutil.which("ngspice") is None, reason="needs Debian's ngspice"),
]


def departures(*, with_span: bool) -> tuple[circuit.Sweep, circuit.Array]:
    outside = circuit.characteristic()
    volts, _ = circuit.fitted(with_span=with_span).on(outside)
    return outside, np.abs(volts - outside.voltage)


def test_the_sweep_covers_the_characteristic() -> None:
    outside = circuit.characteristic()
    assert outside.current[0] < 0.05
    assert outside.voltage[-1] < 0.7
    corner = (outside.voltage < 29.95) & (outside.voltage > 29.0)
    assert np.count_nonzero(corner) > 50


def test_the_whole_characteristic_agrees_within_two_milliamperes() -> None:
    outside, apart = departures(with_span=True)
    flat = outside.current < circuit.FLAT_UP_TO_A
    limited = outside.voltage < 29.0
    assert np.max(apart[flat]) < 0.15e-3  # found 0.11 mV
    assert np.max(apart[~flat & ~limited]) < 2.0e-3  # the corner; found 1.87 mV or mA
    assert np.max(apart[limited]) < 0.8e-3  # found 0.68 mA in 3.5 A


def test_a_bare_exponential_cannot_follow_a_plain_limit_transistor() -> None:
    outside, apart = departures(with_span=False)
    corner = (outside.current > 2.9) & (outside.voltage > 28.5)
    assert 0.04 < np.max(apart[corner]) < 0.1  # found 0.07 V or A: 40 times the other form's


def test_output_resistance_agrees_within_four_percent() -> None:
    outside = circuit.characteristic()
    flat = outside.current < 1.5  # half of the rated current: the rounding has not begun
    slope = -np.polyfit(outside.current[flat], outside.voltage[flat], 1)[0]
    fitted = circuit.fitted(with_span=True).output_ohm
    assert fitted == pytest.approx(slope, rel=0.05)  # 1.73 mΩ against 1.79 mΩ


def test_output_conductance_in_constant_current_agrees() -> None:
    outside = circuit.characteristic()
    limited = (outside.voltage < 22.5) & (outside.voltage > 7.5)
    slope = -np.polyfit(outside.voltage[limited], outside.current[limited], 1)[0]
    model = circuit.fitted(with_span=True)
    # I = I_L + g·(V_cv − V) + i_w·ln(…): the last term is constant once the drive is exhausted.
    assert model.conductance_s == pytest.approx(slope, rel=0.03)  # 1.11 mS against 1.14 mS


def test_rounding_is_near_what_the_parts_themselves_say() -> None:
    # Ebers and Moll: one thermal voltage over the shunt; the pair's tangent: two at its input.
    # Both come out greater, as the parts' own series resistances and base currents widen them.
    model = circuit.fitted(with_span=True)
    assert 1.0 < model.rounding_a / (circuit.THERMAL_V / circuit.SHUNT_OHM) < 1.15  # 1.12
    assert 1.0 < model.span_v / (2 * circuit.THERMAL_V / circuit.DIVIDER) < 1.3  # 1.25


@pytest.mark.parametrize("load_ohm", [10.0, 20.0, 100.0])
def test_dropout_agrees_in_regulation_and_beyond(load_ohm: float) -> None:
    # Saturation is fitted to 10 Ω and 100 Ω; 20 Ω is a forecast.
    outside, model = circuit.dropout(load_ohm), circuit.with_dropout()
    apart = np.abs(model.falling(outside, load_ohm) - outside.voltage)
    regulated = outside.swept > circuit.REGULATED_FROM_V
    deep = outside.voltage < 28.5
    assert np.max(apart[regulated]) < 1.5e-3  # found 1.36, 0.33, 0.36 mV
    assert np.max(apart[deep]) < 0.1  # found 97, 79, 94 mV
    # Transistors saturate little by little, the model at once (its ripple rounds it, not this).
    assert 0.1 < np.max(apart[~deep]) < 0.2  # found 149, 186, 187 mV, at the edge


def test_the_stored_picture_is_there_and_small() -> None:
    assert circuit.PICTURE.stat().st_size < 100_000


def test_the_picture_can_be_drawn(tmp_path: Path) -> None:
    circuit.draw(tmp_path / "again.png")
    assert (tmp_path / "again.png").read_bytes().startswith(b"\x89PNG")
