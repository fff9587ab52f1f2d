"""Bounds of limits: "0.02 % + 2 mV" and at most, at least, between."""

import re
from dataclasses import dataclass

from sequencer.documents.dimensions import CURRENT, RATIO, VOLTAGE, Dimension
from sequencer.documents.parsing import (
    QuantityError,
    article,
    describe,
    one_spelling,
    parse_quantity,
    quoted,
    split_quantity,
)
from sequencer.documents.rendering import format_quantity

PERCENT = 100.0

_OF_SETTING = (VOLTAGE, CURRENT)
"""Only these have a setting that a part in percent can be taken of."""


@dataclass(frozen=True, slots=True)
class Allowance:
    """A part in percent of the setting plus a fixed part in SI units."""

    percent: float
    fixed: float
    unit: str

    def resolve(self, setting: float) -> float:
        """Return the allowance in SI units at a setting (V or A, as the figure)."""
        return self.percent / PERCENT * setting + self.fixed


@dataclass(frozen=True, slots=True)
class Bound:
    """At least `lower`, at most `upper`; None where there is no bound on that side."""

    lower: Allowance | None
    upper: Allowance | None

    def resolve(self, setting: float) -> tuple[float | None, float | None]:
        """Return both bounds in SI units at a setting."""
        return (
            None if self.lower is None else self.lower.resolve(setting),
            None if self.upper is None else self.upper.resolve(setting),
        )


def expected_allowance(dimension: Dimension, *, signed: bool = False) -> str:
    """Return what is expected, with an example."""
    noun = article(dimension.name if signed else f"positive {dimension.name}")
    if dimension in _OF_SETTING:
        noun += ", a percentage of the setting, or their sum,"
    sum_example = f' or "0.02 % + {dimension.example}"' if dimension in _OF_SETTING else ""
    return f'{noun} as text, such as "{dimension.example}"{sum_example}'


def parse_allowance(text: object, dimension: Dimension, *, signed: bool = False) -> Allowance:
    """Read "30 mV", "1 %" or "0.02 % + 2 mV".

    Parameters
    ----------
    text : object
        What the document holds.
    dimension : Dimension
        The figure's; a percentage of the setting is possible for voltages and currents only.
    signed : bool
        Whether the bound may be zero or negative.

    Raises
    ------
    QuantityError
        With what was found and what was expected.
    """
    expected = expected_allowance(dimension, signed=signed)
    if not isinstance(text, str):
        raise QuantityError(describe(text), expected)
    percent: float | None = None
    fixed: float | None = None
    if (sign := _SIGN.match(one_spelling(text))) is not None:
        why = _ONE_SIDE if signed or sign[0] != "±" else _BOTH_SIGNS
        raise QuantityError(f"{quoted(text)} ({why})", expected)
    for term in _PLUS.split(one_spelling(text)):
        if dimension in _OF_SETTING and term.rstrip().endswith("%") and percent is None:
            percent = parse_quantity(term, RATIO) * PERCENT
            continue
        try:
            value = parse_quantity(term, dimension)
        except QuantityError as error:
            raise QuantityError(_plain_ratio(term, dimension) or error.found, expected) from None
        if fixed is not None:
            raise QuantityError(f'"{text}" (two fixed parts)', expected)
        fixed = value
    if not signed and not (min(percent or 0.0, fixed or 0.0) >= 0 < max(percent or 0, fixed or 0)):
        raise QuantityError(f'"{text}" (a part that is not positive)', expected)
    return Allowance(percent or 0.0, fixed or 0.0, dimension.unit)


_PLUS = re.compile(r"\s\+\s|(?<=[^\s0-9.eE+-])\s*\+\s*")
"""Between two parts; not the sign of a number or of an exponent."""

_SIGN = re.compile("[±≤≥<>]")
_ONE_SIDE = "at_most, at_least or between says on which side; write the quantity alone"
_BOTH_SIGNS = "without ±: at_most holds for both signs of what this figure is of"


def _plain_ratio(text: str, dimension: Dimension) -> str | None:
    """Return a plain number and what to write: a forgotten % would make 100 times of it."""
    split = split_quantity(text)
    if dimension is not RATIO or split is None or split[1]:
        return None
    percent = format_quantity(float(split[0]), "%", 15).replace("\u2212", "-")
    return (
        f'{quoted(text)} (a number without a unit; write "{percent}" for the ratio {split[0]}, or '
        f'"{split[0]} %" if per cent is meant)'
    )
