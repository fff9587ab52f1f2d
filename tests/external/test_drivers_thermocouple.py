"""Thermocouples against NIST's ITS-90 table, reference junction at 0 °C (tabulated to 1 µV)."""

import pytest

from drivers.thermocouple import millivolts, thermocouple_degc

pytestmark = pytest.mark.external

TABLE = [
    ("type K", 25.0, 1.000),
    ("type K", 50.0, 2.023),
    ("type K", 100.0, 4.096),
    ("type T", 25.0, 0.992),
    ("type T", 50.0, 2.036),
    ("type T", 100.0, 4.279),
]


@pytest.mark.parametrize(("kind", "degc", "mv"), TABLE)
def test_tabulated_voltages(kind: str, degc: float, mv: float) -> None:
    assert millivolts(kind, degc) == pytest.approx(mv, abs=0.6e-3)
    assert thermocouple_degc(kind, mv * 1e-3) == pytest.approx(degc, abs=0.02)


@pytest.mark.parametrize(("kind", "degc", "mv"), TABLE)
def test_a_warm_reference_junction_is_added(kind: str, degc: float, mv: float) -> None:
    seen = (mv - millivolts(kind, 22.0)) * 1e-3
    assert thermocouple_degc(kind, seen, 22.0) == pytest.approx(degc, abs=0.02)


@pytest.mark.parametrize("volts", [-1e-3, 0.03, 9.9])
def test_a_broken_or_swapped_pair_is_no_temperature(volts: float) -> None:
    with pytest.raises(ValueError, match="outside 0 to 400"):
        thermocouple_degc("type K", volts)
