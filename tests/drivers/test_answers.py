"""Answers: numbers as IEEE 488.2 writes them, and nothing else."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.answers import number_parser, token

plain = number_parser({})
volts = number_parser({"V": 1.0, "mV": 1e-3, "kV": 1e3}, frozenset({"OVLD"}))


# IEEE 488.2-1992, 8.7.2 to 8.7.4: forms of NR1, NR2 and NR3
@pytest.mark.external
@pytest.mark.parametrize(
    ("answer", "value"),
    [
        (b"12", 12.0),
        (b"+12", 12.0),
        (b"-0.5", -0.5),
        (b"+2.99990000E+01", 29.999),
        (b"-1.5E-3", -0.0015),
        (b" 7 ", 7.0),
        (b".5", 0.5),
        (b"5.", 5.0),
    ],
)
def test_numbers(answer: bytes, value: float) -> None:
    assert plain(answer) == (value, "")


@given(st.floats(min_value=-1e30, max_value=1e30))
def test_every_number_survives_being_written_and_read(value: float) -> None:
    assert plain(f"{value:.17E}".encode()) == (value, "")


@given(st.binary(max_size=12))
def test_random_bytes_are_a_plain_number_or_an_error(answer: bytes) -> None:
    try:
        value, flag = plain(answer)
    except ValueError:
        return
    if flag:
        assert math.isnan(value)
    else:
        assert value == float(answer)
        assert set(answer.strip()) <= set(b"0123456789+-.eE")


@pytest.mark.parametrize(
    ("answer", "value"), [(b"1.5 V", 1.5), (b"1.5mV", 0.0015), (b"2e-3kV", 2.0), (b"3", 3.0)]
)
def test_declared_suffixes_scale(answer: bytes, value: float) -> None:
    assert volts(answer)[0] == pytest.approx(value)


@pytest.mark.parametrize("answer", [b"1.5 A", b"1.5MV", b"1.5 V V", b"V", b"1.5\xb5V"])
def test_other_suffixes_are_errors(answer: bytes) -> None:
    with pytest.raises(ValueError, match=r"unit|number"):
        volts(answer)


def test_overload_text_and_overload_with_unit() -> None:
    assert volts(b"OVLD")[1] == "overload"
    value, flag = volts(b"9.9E37 V")
    assert math.isnan(value)
    assert flag == "overload"


def test_number_beyond_the_markers_is_an_error() -> None:
    with pytest.raises(ValueError, match=r"beyond"):
        plain(b"1E38")


def test_tokens_are_recognised_in_any_case() -> None:
    tokens = {"current": ("CURR", "CURRENT"), "voltage": ("VOLT",)}
    assert token(b" curr ", tokens) == "current"
    with pytest.raises(ValueError, match=r"none of CURR, CURRENT, VOLT"):
        token(b"CURRE", tokens)
