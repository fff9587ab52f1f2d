"""Quantities as people read them."""

from math import inf, nan

import pytest

from sequencer.documents.quantities import format_quantity, format_with_uncertainty


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (0.00312, "V", "3.12 mV"),
        (-0.00312, "V", "−3.12 mV"),
        (30.0, "V", "30 V"),
        (0.0, "V", "0 V"),
        (1e-5, "V", "10 µV"),
        (0.99996, "V", "1 V"),
        (0.005, "ohm", "5 mΩ"),
        (90.0, "W", "90 W"),
        (28800.0, "s", "8 h"),
        (1800.0, "s", "30 min"),
        (90.0, "s", "90 s"),
        (0.25, "s", "250 ms"),
        (50.0, "Hz", "50 Hz"),
        (23.5, "°C", "23.5 °C"),
        (-5.0, "°C", "−5 °C"),
        (0.97, "1", "0.97"),
        (0.1, "%", "10 %"),
        (0.0002, "%", "0.02 %"),
        (7.5e-7, "m²", "0.75 mm²"),
        (5e-6, "1/K", "5 ppm/K"),
        (2e-5, "V/K", "20 µV/K"),
        (1e-3 / 3600, "V/s", "1 mV/h"),
        (5 / 60, "K/s", "5 K/min"),
        (nan, "V", "no value"),
        (inf, "A", "∞ A"),
        (-inf, "A", "−∞ A"),
    ],
)
def test_a_quantity_is_shown_as_the_trade_writes_it(value: float, unit: str, text: str) -> None:
    assert format_quantity(value, unit) == text


def test_digits_are_significant_digits() -> None:
    assert format_quantity(30.001234, "V", 6) == "30.0012 V"
    assert format_quantity(30.001234, "V", 3) == "30 V"


@pytest.mark.parametrize(
    ("value", "u", "unit", "text"),
    [
        (0.00312, 0.00018, "V", "3.12 mV ± 0.18 mV"),
        (-0.00312, 0.00018, "V", "−3.12 mV ± 0.18 mV"),
        (30.00123, 0.00018, "V", "30.00123 V ± 0.00018 V"),
        (3.2, 0.0999, "A", "3.20 A ± 0.10 A"),
        (0.0, 0.00018, "V", "0 µV ± 180 µV"),
        (0.02, 0.153, "V", "20 mV ± 150 mV"),
        (1e-7, 0.00018, "V", "0 µV ± 180 µV"),
        (0.97, 0.012, "1", "0.970 ± 0.012"),
        (1800.0, 60.0, "s", "30.0 min ± 1.0 min"),
        (3.2, 0.0, "A", "3.2 A ± 0 A"),
        (3.2, inf, "A", "3.2 A ± ∞ A"),
        (nan, 0.1, "A", "no value ± 100 mA"),
    ],
)
def test_a_value_has_as_many_decimals_as_its_uncertainty(
    value: float, u: float, unit: str, text: str
) -> None:
    assert format_with_uncertainty(value, u, unit) == text


def test_the_guides_own_way_of_writing_a_mass_is_kept() -> None:
    """JCGM 100:2008, 7.2.2 and 7.2.6: 100.021 47 g with u = 0.35 mg; 10.057 62 Ω with 27 mΩ."""
    assert format_with_uncertainty(10.05762, 0.027, "ohm") == "10.058 Ω ± 0.027 Ω"


def test_an_unknown_unit_is_refused() -> None:
    with pytest.raises(ValueError, match="furlong"):
        format_quantity(1.0, "furlong")


def test_nothing_has_no_minus_before_it():
    assert format_with_uncertainty(-2e-8, 6.8e-3, "V") == "0.0 mV ± 6.8 mV"
