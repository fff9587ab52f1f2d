"""Resistance of leads and unit factors against sources outside the project."""

from fractions import Fraction

import pytest
import scipy.constants as codata

from sequencer.documents import dimensions as d
from sequencer.documents.dimensions import Dimension
from sequencer.documents.parsing import parse_quantity
from sequencer.documents.wiring import Leads

pytestmark = pytest.mark.external

ASTM_B258_OHM_PER_KM = {10: 3.277, 12: 5.211, 14: 8.286, 16: 13.17, 18: 20.95, 20: 33.31}
"""Solid round copper wire at 20 °C, by gauge number (ASTM B258 table)."""


@pytest.mark.parametrize("gauge", ASTM_B258_OHM_PER_KM)
def test_a_pair_of_round_wires_has_twice_the_tables_resistance(gauge: int) -> None:
    """Diameter 0.127·92^((36−n)/39) mm by ASTM B258; the table rounds to four digits."""
    diameter_mm = 0.127 * 92 ** ((36 - gauge) / 39)
    area = codata.pi / 4 * diameter_mm**2
    leads = Leads.model_validate({"length": "1 m", "cross_section": f"{area:.9f} mm²"})
    assert leads.resistance_ohm == pytest.approx(2e-3 * ASTM_B258_OHM_PER_KM[gauge], rel=4e-4)


@pytest.mark.parametrize(
    ("text", "dimension", "factor"),
    [
        ("1 min", d.TIME, codata.minute),
        ("1 h", d.TIME, codata.hour),
        ("1 d", d.TIME, codata.day),
        ("1 pV", d.VOLTAGE, codata.pico),
        ("1 nV", d.VOLTAGE, codata.nano),
        ("1 µV", d.VOLTAGE, codata.micro),
        ("1 mV", d.VOLTAGE, codata.milli),
        ("1 kV", d.VOLTAGE, codata.kilo),
        ("1 MΩ", d.RESISTANCE, codata.mega),
        ("1 GHz", d.FREQUENCY, codata.giga),
        ("1 cm²", d.AREA, codata.centi**2),
        ("1 mm²", d.AREA, codata.milli**2),
        ("1 V/h", d.VOLTAGE_RATE, 1 / codata.hour),
    ],
)
def test_factors_are_those_of_scipy_constants(
    text: str, dimension: Dimension, factor: float
) -> None:
    """Prefixes and times as `scipy.constants` holds them (SI brochure)."""
    assert parse_quantity(text, dimension) == pytest.approx(factor, rel=1e-15)


def test_copper_has_the_standards_resistivity() -> None:
    """IEC 60028: 1/58 Ω·mm²/m at 20 °C."""
    leads = Leads.model_validate({"length": "1 m", "cross_section": "1 mm²"})
    assert leads.resistance_ohm == pytest.approx(float(Fraction(2, 58)), rel=1e-12)
