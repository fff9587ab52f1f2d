"""From the bytes of an answer to a value; whatever is not exactly as declared is refused.

Python's own `float` takes "nan", "infinity" and "1_000", which no instrument means as a reading.
"""

import re
from collections.abc import Callable, Mapping
from math import nan

from drivers.roles import Flag

NUMBER = rb"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
"""Decimal numeric response data: IEEE 488.2-1992, 8.7.2 to 8.7.4 (NR1, NR2, NR3)."""

_plain = re.compile(rb"\s*" + NUMBER + rb"\s*").fullmatch
_with_suffix = re.compile(rb"\s*(" + NUMBER + rb")\s*([^\s\d.+-][^\s]*)\s*").fullmatch

OVERLOAD = 9.9e37
NOT_A_NUMBER = 9.91e37
"""SCPI-1999, volume 1, numeric parameters: INFinity and NAN as numbers."""

MARKER_WIDTH = 1e-4
"""Relative width in which an answer counts as a marker; instruments round them differently."""

Parser = Callable[[bytes], tuple[float, Flag]]
"""Takes an answer without terminator; returns value and flag; raises ValueError with a reason."""


def number_parser(
    factors: Mapping[str, float],
    overload_texts: frozenset[str] = frozenset(),
    factor: float = 1.0,
) -> Parser:
    """Return a parser of plain numbers or, where suffixes are declared, of numbers with one.

    `factors` maps each accepted suffix to its factor to SI; with none, a suffix is an error.
    `overload_texts` are answers that mean an overload. The number times `factor` is SI.
    """
    overloads = frozenset(text.encode("ascii") for text in overload_texts)

    def flagged(value: float, answer: bytes) -> tuple[float, Flag]:
        magnitude = abs(value)
        if magnitude < OVERLOAD * (1 - MARKER_WIDTH):
            return value, ""
        if magnitude < OVERLOAD * (1 + MARKER_WIDTH):
            return nan, "overload"
        if magnitude < NOT_A_NUMBER * (1 + MARKER_WIDTH):
            return nan, "not a number"
        raise ValueError(f"{answer!r} is beyond every number that an instrument may mean")

    def plain(answer: bytes) -> tuple[float, Flag]:
        if _plain(answer):
            value = float(answer)
            return (value, "") if -1e37 < value < 1e37 else flagged(value, answer)
        if answer.strip() in overloads:
            return nan, "overload"
        if (match := _with_suffix(answer)) is not None:
            raise ValueError(f"a unit was not declared, but the answer has {match[2]!r}")
        raise ValueError("the answer is not a number")

    def suffixed(answer: bytes) -> tuple[float, Flag]:
        match = _with_suffix(answer)
        if match is None:
            return plain(answer)
        unit = factors.get(match[2].decode("latin-1"))
        if unit is None:
            raise ValueError(
                f"the answer's unit is {match[2]!r}, declared are {', '.join(factors)}"
            )
        value, flag = flagged(float(match[1]), answer)
        return value * unit, flag

    def scaled(answer: bytes) -> tuple[float, Flag]:
        value, flag = suffixed(answer) if factors else plain(answer)
        return value * factor, flag

    if factor != 1:
        return scaled
    return suffixed if factors else plain


def token(answer: bytes, tokens: Mapping[str, tuple[str, ...]]) -> str:
    """Return the name whose accepted spellings hold the answer, whatever its case.

    Raises
    ------
    ValueError
        When no spelling fits.
    """
    text = answer.decode("latin-1").strip().upper()
    for name, spellings in tokens.items():
        if text in (spelling.upper() for spelling in spellings):
            return name
    accepted = ", ".join(spelling for spellings in tokens.values() for spelling in spellings)
    raise ValueError(f"none of {accepted}")
