"""Strict reading of text such as "30 mV" into SI floats, with messages that say what is wrong."""

import re
from fractions import Fraction
from typing import Literal

from quantiphy import Quantity

from sequencer.documents.dimensions import PREFIXES, Dimension, dimensions_of, split_unit

Sign = Literal["any", "not negative", "positive"]

NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,2}(?![0-9]))?"
"""A decimal number with a point; exponents of two digits reach beyond every bench."""

LONGEST = 60
"""Longer text is no quantity; it is cut before it is quoted in a message."""

_SPELLINGS = {
    "\u2212": "-",  # minus sign
    "\u00b5": "u",  # micro sign
    "\u03bc": "u",  # Greek mu
    "\u2126": "Ω",  # ohm sign
    "\u2103": "°C",  # degree Celsius in one character
    "\u00a0": " ",  # no-break space
    "\u202f": " ",  # narrow no-break space
    "\u2009": " ",  # thin space
}
_UNIT_SPELLINGS = {"degC": "°C", "^2": "²", "mm2": "mm²", "cm2": "cm²", "m2": "m²", "/°C": "/K"}


class FoundExpectedError(ValueError):
    """Something else was found than was expected; both are said in words."""

    def __init__(self, found: str, expected: str) -> None:
        super().__init__(f"found {found}, expected {expected}")
        self.found = found
        self.expected = expected


class QuantityError(FoundExpectedError):
    """Text is not a quantity of the dimension that is expected."""


def one_spelling(text: str) -> str:
    """Return text with each character that has several forms in one of them."""
    for found, replacement in _SPELLINGS.items():
        text = text.replace(found, replacement)
    return text.strip()


def split_quantity(text: str) -> tuple[str, str] | None:
    """Return number and unit of a text (unit "" where there is none), or None without a number."""
    match = re.fullmatch(rf"({NUMBER})\s*(.*)", one_spelling(text), re.DOTALL)
    if match is None or len(text) > LONGEST:
        return None
    unit = match[2]
    for found, replacement in _UNIT_SPELLINGS.items():
        if found in unit and replacement not in unit:
            unit = unit.replace(found, replacement)
    return match[1], unit


def article(noun: str) -> str:
    """Return a noun with its indefinite article."""
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def expectation(dimension: Dimension, sign: Sign = "any") -> str:
    """Return what is expected, with an example."""
    noun = article(f"positive {dimension.name}" if sign == "positive" else dimension.name)
    least = " of zero or more" if sign == "not negative" else ""
    return f'{noun}{least} as text with its unit, such as "{dimension.example}"'


def quoted(found: object) -> str:
    """Return how a found value is quoted in a message: as TOML spells it, and not too long."""
    if isinstance(found, bool):
        return str(found).lower()
    if isinstance(found, str):
        text = found if len(found) <= LONGEST else found[:LONGEST] + "…"
        return f'"{text}"'
    if isinstance(found, int | float):
        text = repr(found)
        return text if len(text) <= LONGEST else f"{text[:LONGEST]}… ({len(text)} digits)"
    if isinstance(found, dict):
        return "a table"
    if isinstance(found, list | tuple):
        return "a list"
    return f"{type(found).__name__} {found}"


def describe(found: object) -> str:
    """Return a found value with what it is, for a message."""
    if isinstance(found, str):
        return f"{quoted(found)} ({kind_of(found)})"
    if isinstance(found, int | float) and not isinstance(found, bool):
        return f"{quoted(found)} (a number without a unit)"
    return quoted(found)


def comma_words(text: str) -> str | None:
    """Return what to write for the comma within a text's first number, or None without one."""
    match = re.match(r"[+-]?([0-9]*),([0-9]+)", one_spelling(text))
    if match is None:
        return None
    whole, decimals = match[1], match[2]
    if len(decimals) == len("000") and whole != "0":
        return "a comma, for decimals or thousands; write a point, or nothing between thousands"
    return f"a decimal comma; write {match[0].replace(',', '.')}"


def kind_of(text: str) -> str:
    """Return what a text that was not expected is."""
    if (commas := comma_words(text)) is not None:
        return commas
    split = split_quantity(text)
    if split is None:
        return "no number and unit"
    unit = split[1]
    if not unit:
        return "a number without a unit"
    known = dimensions_of(unit)
    return article(known[0].name) if known else f"the unit {quoted(unit)} is not known"


def parse_quantity(text: object, dimension: Dimension, sign: Sign = "any") -> float:
    """Read text such as "30 mV" as a quantity of a dimension.

    Returns
    -------
    float
        In the dimension's SI unit (degrees Celsius for temperatures).

    Raises
    ------
    QuantityError
        When it is no text, has no unit, another dimension, or a forbidden sign.
    """
    split = split_quantity(text) if isinstance(text, str) else None
    scale = None if split is None else split_unit(split[1], dimension)
    if split is None or scale is None:
        raise QuantityError(describe(text), expectation(dimension, sign))
    value = _value(split[0], *scale)
    if (sign == "positive" and value <= 0) or (sign == "not negative" and value < 0):
        size = "zero" if value == 0 else "negative"
        raise QuantityError(f"{quoted(text)} ({size})", expectation(dimension, sign))
    return value


def _value(number: str, prefix: str, factor: Fraction) -> float:
    """Scale exactly and round once, so that "0.02 %" is the float 0.0002."""
    if prefix:  # read apart: behind an exponent quantiphy takes no prefix, and says nothing
        factor *= Fraction(repr(float(Quantity("1" + prefix))))
    return float(Fraction(number) * factor)


def unit_pattern(dimension: Dimension) -> str:
    """Return the regular expression (ECMA 262) of a dimension's units in all their spellings."""
    prefixes = f"[{PREFIXES}µμ]?"
    units = [re.escape(unit) for unit in dimension.plain]
    units += [prefixes + re.escape(unit) for unit in dimension.prefixed]
    text = "|".join(units).replace("²", "(?:²|\\^?2)").replace("°C", "(?:°C|℃|degC)")
    return text.replace("Ω", "[Ω\u2126]").replace("/K", "/(?:K|°C|degC)")


def pattern(dimension: Dimension, sign: Sign = "any") -> str:
    """Return the regular expression (ECMA 262) of a dimension's texts, for editors."""
    number = NUMBER.replace("+-", "+" if sign != "any" else "+−-", 1)
    return rf"^\s*{number}\s*(?:{unit_pattern(dimension)})\s*$"
