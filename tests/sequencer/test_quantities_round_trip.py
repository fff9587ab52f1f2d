"""What is written is read again, and nothing but the unit table's text is read."""

import re
from contextlib import suppress
from math import isclose

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sequencer.documents.bounds import parse_allowance
from sequencer.documents.dimensions import (
    DIMENSIONS,
    PREFIXES,
    VOLTAGE,
    Dimension,
    dimensions_of,
)
from sequencer.documents.parsing import QuantityError, parse_quantity, pattern
from sequencer.documents.quantities import QuantityText, format_with_uncertainty

dimensions = st.sampled_from(DIMENSIONS)
values = st.floats(-1e9, 1e9).filter(lambda value: value == 0 or abs(value) > 1e-9)


@st.composite
def units(draw: st.DrawFn) -> tuple[Dimension, str]:
    """A dimension with one of its units, with a prefix where it takes one."""
    dimension = draw(dimensions)
    choices = list(dimension.plain)
    for unit in dimension.prefixed:
        choices += [unit, *(prefix + unit for prefix in PREFIXES + "µ")]
    return dimension, draw(st.sampled_from(choices))


@given(values, dimensions)
def test_a_written_quantity_is_read_as_the_same_value(value: float, dimension: Dimension) -> None:
    field = QuantityText(dimension)
    text = field.write(value)
    assert isclose(field.read(text), value, rel_tol=1e-13, abs_tol=1e-300)
    assert re.fullmatch(pattern(dimension), text)


@given(st.decimals(-10_000, 10_000, places=4), units())
def test_every_unit_of_the_table_is_read_and_matches_the_editors_pattern(
    number: object, unit: tuple[Dimension, str]
) -> None:
    dimension, symbol = unit
    text = f"{number} {symbol}"
    parse_quantity(text, dimension)
    assert re.fullmatch(pattern(dimension), text)


@given(st.decimals(-1000, 1000, places=3), units(), dimensions)
def test_a_unit_is_read_in_its_own_dimension_only(
    number: object, unit: tuple[Dimension, str], other: Dimension
) -> None:
    dimension, symbol = unit
    if other is dimension:
        return
    with pytest.raises(QuantityError) as caught:
        parse_quantity(f"{number} {symbol}", other)
    assert dimension.name in caught.value.found


@given(st.text(max_size=80), dimensions)
def test_any_text_is_read_or_refused_and_never_fails_otherwise(
    text: str, dimension: Dimension
) -> None:
    try:
        parse_quantity(text, dimension)
    except QuantityError:
        assert not re.fullmatch(pattern(dimension), text, re.ASCII) or len(text) > 60
    with suppress(QuantityError):
        parse_allowance(text, dimension)


def test_no_unit_stands_in_two_dimensions() -> None:
    for dimension in DIMENSIONS:
        for unit in (*dimension.plain, *dimension.prefixed):
            for prefix in ("", *PREFIXES):
                if dimensions_of(prefix + unit):
                    assert len(dimensions_of(prefix + unit)) == 1, prefix + unit


@given(st.floats(-1e4, 1e4), st.floats(1e-9, 1e3))
def test_value_and_uncertainty_are_shown_to_within_half_of_the_last_digit(
    value: float, u: float
) -> None:
    """Read the two texts again: they must not be further off than their last digit allows."""
    left, right = format_with_uncertainty(value, u, "V").replace("−", "-").split(" ± ")
    shown_u = parse_quantity(right, VOLTAGE)
    assert isclose(shown_u, u, rel_tol=0.0501)
    assert abs(parse_quantity(left, VOLTAGE) - value) <= 0.0501 * shown_u + 1e-13 * abs(value)
