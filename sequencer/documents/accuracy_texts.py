"""Data sheets' own lines of accuracy, read strictly: "0.5 % + 3 digits"."""

from collections.abc import Mapping
from dataclasses import dataclass

from pydantic import GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from sequencer.documents.accuracy_refusals import why_not
from sequencer.documents.accuracy_spellings import (
    MOST_CHARACTERS,
    Kind,
    Part,
    both_styles,
    line_pattern,
    read_part,
    split_line,
)
from sequencer.documents.dimensions import RATIO, Dimension
from sequencer.documents.parsing import QuantityError, describe, parse_quantity, quoted
from sequencer.documents.rendering import format_quantity
from sequencer.documents.text_values import TextValue

OF_READING, OF_RANGE = " of reading", " of range"
_TWICE: Mapping[Kind, str] = {
    "of_reading": 'two parts of one kind: both of the reading; write "of range" behind the other',
    "of_range": "two parts of one kind: both of the range",
    "digits": "two parts of one kind: both in digits",
    "fixed": "two parts of one kind: both fixed",
}


_TWO_STYLES = (
    "a comma in one number and a point in another: beside a decimal comma a point parts thousands; "
    "write points for decimals in all of them"
)


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
class ErrorText(TextValue[ErrorTerms]):
    """Mark a field as a data sheet's line; fixed parts are of one dimension."""

    dimension: Dimension

    def parse(self, text: object) -> ErrorTerms:
        """Read the line; a QuantityError says what was found and what was expected."""
        return parse_error(text, self.dimension)

    def write(self, value: ErrorTerms) -> str:
        """Return the line as a document writes it."""
        return value.text()

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Tell editors what the text looks like."""
        del schema, handler
        return {
            "type": "string",
            "pattern": line_pattern(self.dimension),
            "maxLength": MOST_CHARACTERS,
            "examples": ["0.5 % + 3 digits", "0.02 % of reading + 0.005 % of range"],
            "description": f"{_expected(self.dimension).capitalize()}.",
        }


def parse_error(text: object, dimension: Dimension) -> ErrorTerms:
    """Read "0.5 % + 3 digits", "±(0.02 % rdg + 0.005 % FS)" or "1 % + 2 mV".

    A part in % or ppm that does not say of what is of the reading.

    Raises
    ------
    QuantityError
        With what was found and what was expected.
    """
    expected = _expected(dimension)
    if not isinstance(text, str):
        raise QuantityError(describe(text), expected)
    if len(text) > MOST_CHARACTERS:
        raise QuantityError(f"{quoted(text)} (more than {MOST_CHARACTERS} characters)", expected)
    sizes: dict[Kind, float] = {}
    for one in split_line(text):
        part = read_part(one, dimension)
        if part is None:
            where = f"the part {quoted(one)}: " if one else ""
            raise QuantityError(f"{quoted(text)} ({where}{why_not(one)})", expected)
        if part.kind in sizes:
            raise QuantityError(f"{quoted(text)} ({_TWICE[part.kind]})", expected)
        sizes[part.kind] = _size(part, dimension)
    if both_styles(text):
        raise QuantityError(f"{quoted(text)} ({_TWO_STYLES})", expected)
    if not any(sizes.values()):
        raise QuantityError(f"{quoted(text)} (nothing but zero)", expected)
    digits = int(sizes.pop("digits", 0))
    return ErrorTerms(digits=digits, unit=dimension.unit, **sizes)


def _size(part: Part, dimension: Dimension) -> float:
    if part.kind == "digits":
        return float(part.size)
    return parse_quantity(part.size, dimension if part.kind == "fixed" else RATIO)


def _expected(dimension: Dimension) -> str:
    return (
        'a greatest error as a data sheet has it, such as "0.5 % + 3 digits", "0.02 % of reading + '
        f'0.005 % of range" or "0.1 % + {dimension.example}"'
    )
