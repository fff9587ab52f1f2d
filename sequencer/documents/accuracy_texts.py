"""Data sheets' own lines, read strictly: "0.5 % + 3 digits" and "6000 counts"."""

import re
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from sequencer.documents.dimensions import RATIO, Dimension
from sequencer.documents.parsing import (
    NUMBER,
    QuantityError,
    describe,
    one_spelling,
    parse_quantity,
    quoted,
)
from sequencer.documents.rendering import format_quantity

OF_READING, OF_RANGE = " of reading", " of range"
DIGITS = re.compile(r"([0-9]+) (?:digits?|counts?)")
DISPLAY = re.compile(r"([0-9]+(?:\.5)?) (counts|digits)")
MOST_COUNTS = 10**9
"""No display shows more; a longer number is a slip."""
UNSIGNED = NUMBER.removeprefix("[+-]?")
HALF_DIGIT = 2
"""A leading half digit shows 0 or 1: it doubles the counts."""


@dataclass(frozen=True, slots=True)
class ErrorTerms:
    """A data sheet's greatest error: parts of reading and range, digits, and a fixed part (SI)."""

    of_reading: float = 0.0
    of_range: float = 0.0
    digits: int = 0
    fixed: float = 0.0
    unit: str = ""

    @property
    def offset(self) -> bool:
        """Whether any part is independent of the reading."""
        return bool(self.of_range or self.digits or self.fixed)

    def text(self) -> str:
        """Return the line as a document writes it."""
        parts = []
        if self.of_reading:
            parts.append(format_quantity(self.of_reading, "%", 15) + OF_READING)
        if self.of_range:
            parts.append(format_quantity(self.of_range, "%", 15) + OF_RANGE)
        if self.digits:
            parts.append(f"{self.digits} digits")
        if self.fixed:
            parts.append(format_quantity(self.fixed, self.unit, 15))
        return " + ".join(parts)


@dataclass(frozen=True, slots=True)
class ErrorText:
    """Mark a field as a data sheet's line; fixed parts are of one dimension."""

    dimension: Dimension

    def read(self, text: object) -> ErrorTerms:
        """Read the line; a pydantic error carries what was found and what was expected."""
        try:
            return parse_error(text, self.dimension)
        except QuantityError as error:
            raise _refusal(error) from None

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Tell pydantic how to read and write."""
        del source, handler
        return core_schema.no_info_plain_validator_function(
            self.read,
            serialization=core_schema.plain_serializer_function_ser_schema(
                ErrorTerms.text, when_used="json"
            ),
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Tell editors what the text looks like."""
        del schema, handler
        term = (
            rf"(?:{UNSIGNED}\s*(?:%|ppm)(?: of (?:reading|range))?"
            rf"|[0-9]+ (?:digits?|counts?)|{UNSIGNED}\s*\S+)"
        )
        return {
            "type": "string",
            "pattern": rf"^\s*{term}(?: \+ {term})*\s*$",
            "examples": ["0.5 % + 3 digits", "0.02 % of reading + 0.005 % of range"],
            "description": f"{_expected(self.dimension).capitalize()}.",
        }


@dataclass(frozen=True, slots=True)
class DisplayText:
    """Mark an integer field as a display's counts: "6000 counts" or "4.5 digits"."""

    def read(self, text: object) -> int:
        """Read the text; a pydantic error carries what was found and what was expected."""
        try:
            return parse_display(text)
        except QuantityError as error:
            raise _refusal(error) from None

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Tell pydantic how to read and write."""
        del source, handler
        return core_schema.no_info_plain_validator_function(
            self.read,
            serialization=core_schema.plain_serializer_function_ser_schema(
                lambda counts: f"{counts} counts", when_used="json"
            ),
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Tell editors what the text looks like."""
        del schema, handler
        return {
            "type": "string",
            "pattern": r"^\s*(?:[0-9]+ counts|[0-9]+(?:\.5)? digits)\s*$",
            "examples": ["6000 counts", "4.5 digits"],
            "description": "How many steps the display has over the channel's range.",
        }


def parse_error(text: object, dimension: Dimension) -> ErrorTerms:
    """Read "0.5 % + 3 digits", "0.02 % of reading + 0.005 % of range" or "1 % + 2 mV".

    A part in % or ppm that does not say of what is of the reading.

    Raises
    ------
    QuantityError
        With what was found and what was expected.
    """
    expected = _expected(dimension)
    if not isinstance(text, str):
        raise QuantityError(describe(text), expected)
    found: dict[str, float] = {}
    for term in one_spelling(text).split(" + "):
        key, value = _term(term.strip(), dimension, text)
        if key in found:
            raise QuantityError(f"{quoted(text)} (two parts of one kind)", expected)
        if value < 0:
            raise QuantityError(f"{quoted(text)} (a negative part)", expected)
        found[key] = value
    if not any(found.values()):
        raise QuantityError(f"{quoted(text)} (nothing but zero)", expected)
    digits = int(found.pop("digits", 0))
    return ErrorTerms(digits=digits, unit=dimension.unit, **found)


def _term(term: str, dimension: Dimension, whole: str) -> tuple[str, float]:
    counted = DIGITS.fullmatch(term)
    if counted:
        return "digits", float(counted[1])
    for ending, key in ((OF_READING, "of_reading"), (OF_RANGE, "of_range")):
        if term.endswith(ending):
            return key, _parsed(term.removesuffix(ending), RATIO, dimension, whole)
    if term.endswith(("%", "ppm")):
        return "of_reading", _parsed(term, RATIO, dimension, whole)
    return "fixed", _parsed(term, dimension, dimension, whole)


def _parsed(term: str, of: Dimension, dimension: Dimension, whole: str) -> float:
    try:
        return parse_quantity(term, of)
    except QuantityError:
        raise QuantityError(
            f"{quoted(whole)} (the part {quoted(term)})", _expected(dimension)
        ) from None


def parse_display(text: object) -> int:
    """Read "6000 counts" or "4.5 digits" (a half digit shows 0 or 1: 20000 counts)."""
    expected = 'the steps of a display as text, such as "6000 counts" or "4.5 digits"'
    match = DISPLAY.fullmatch(one_spelling(text)) if isinstance(text, str) else None
    if match is None:
        raise QuantityError(describe(text), expected)
    if match[2] == "counts":
        counts = int(match[1]) if "." not in match[1] else 0
    else:
        whole, _, half = match[1].partition(".")
        counts = 10 ** min(int(whole), 10) * (HALF_DIGIT if half else 1)
    if not 1 < counts <= MOST_COUNTS:
        raise QuantityError(describe(text), expected)
    return counts


def _expected(dimension: Dimension) -> str:
    return (
        'a greatest error as a data sheet has it, such as "0.5 % + 3 digits", "0.02 % of reading + '
        f'0.005 % of range" or "0.1 % + {dimension.example}"'
    )


def _refusal(error: QuantityError) -> PydanticCustomError:
    return PydanticCustomError(
        "quantity",
        "found {found}, expected {expected}",
        {"found": error.found, "expected": error.expected},
    )
