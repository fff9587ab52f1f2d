"""Platinum resistance thermometers against the table of IEC 60751:2008 (Pt100, table 1)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.answers import number_parser
from drivers.platinum import platinum_degc, platinum_parser, resistance_ratio

pytestmark = pytest.mark.external

TABLE = {
    -200: 18.52,
    -100: 60.26,
    -50: 80.31,
    0: 100.00,
    50: 119.40,
    100: 138.51,
    200: 175.86,
    400: 247.09,
    600: 313.71,
    850: 390.48,
}
"""Temperature in °C: ohms, as printed, to a hundredth of an ohm (13 mK to 17 mK either way)."""


@pytest.mark.parametrize(("degc", "ohm"), TABLE.items())
def test_the_printed_table(degc: float, ohm: float) -> None:
    assert 100.0 * resistance_ratio(degc) == pytest.approx(ohm, abs=0.0051)
    if degc not in (-200, 850):
        assert platinum_degc(ohm / 100.0) == pytest.approx(degc, abs=0.018)


@given(st.floats(-200.0, 850.0))
def test_there_and_back(degc: float) -> None:
    assert platinum_degc(resistance_ratio(degc)) == pytest.approx(degc, abs=1e-8)


@pytest.mark.parametrize("answer", [b"0.3", b"395", b"1.2E6", b"-100"])
def test_an_open_or_shorted_sensor_is_no_temperature(answer: bytes) -> None:
    with pytest.raises(ValueError, match="open, shorted"):
        platinum_parser(number_parser({}), 100.0)(answer)


def test_an_overload_stays_one_and_other_nominal_values_count() -> None:
    assert platinum_parser(number_parser({}), 100.0)(b"9.9E37")[1] == "overload"
    assert platinum_parser(number_parser({}), 1000.0)(b"1385.1")[0] == pytest.approx(100, abs=0.02)
