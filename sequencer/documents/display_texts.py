"""A display's steps as data sheets have them: "6000 counts", "4.5 digits", "3 1/2 digits"."""

import re
from dataclasses import dataclass

from pydantic import GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from sequencer.documents.accuracy_spellings import SPACE, any_case
from sequencer.documents.parsing import LONGEST, QuantityError, describe, quoted
from sequencer.documents.text_values import TextValue

HALF_DIGIT = 2
"""A leading half digit shows 0 or 1: it doubles the counts."""

_GAPS = " \u00a0\u2009\u202f"
_WHOLE = "[2-9]|[1-9][0-9]{1,8}|1000000000"
"""2 to 10⁹: no display shows more; a longer number is a slip."""
_PARTED = "[1-9][0-9]{0,2}(?:(?:,[0-9]{3}){1,2}|(?:[" + _GAPS + "][0-9]{3}){1,2})"
"""Thousands parted by commas or gaps: counts are whole, so no comma is a decimal one."""
_COUNTED = f"({_PARTED}|{_WHOLE})[-{_GAPS}]?(?:{any_case('counts?|cts')})"
_HALF = rf"[.,]5|½|[-{_GAPS}]½|[-{_GAPS}]1[/\u2044]2"
_IN_DIGITS = f"(?:([1-8])({_HALF})|([1-9]))[-{_GAPS}]?{any_case('digits?')}"
_OTHER_PART = r"[¼¾⅓⅔⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞]|(?!1/2)[0-9][/\u2044][0-9]|[0-9][.,](?!5[- ]?d)[0-9]+[- ]?digit"


@dataclass(frozen=True, slots=True)
class DisplayText(TextValue[int]):
    """Mark an integer field as a display's counts: "6000 counts" or "4.5 digits"."""

    def parse(self, text: object) -> int:
        """Read the text; a QuantityError says what was found and what was expected."""
        return parse_display(text)

    def write(self, value: int) -> str:
        """Return the counts as a document writes them."""
        return f"{value} counts"

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Tell editors what the text looks like."""
        del schema, handler
        return {
            "type": "string",
            "maxLength": LONGEST,
            "pattern": f"^{SPACE}(?:{_COUNTED}|{_IN_DIGITS}){SPACE}$",
            "examples": ["6000 counts", "4.5 digits", "3 1/2 digits"],
            "description": "How many steps the display has over the channel's range.",
        }


def parse_display(text: object) -> int:
    """Read "6000 counts", "4.5 digits" or "3 1/2 digits" (a half digit shows 0 or 1: 2000 counts).

    Raises
    ------
    QuantityError
        With what was found and what was expected.
    """
    expected = 'the steps of a display as text, such as "6000 counts" or "4.5 digits"'
    if not isinstance(text, str):
        raise QuantityError(describe(text), expected)
    if len(text) > LONGEST:
        raise QuantityError(f"{quoted(text)} (more than {LONGEST} characters)", expected)
    match = re.fullmatch(f"{SPACE}(?:{_COUNTED}|{_IN_DIGITS}){SPACE}", text)
    if match is None:
        raise QuantityError(_found(text), expected)
    counts, before_half, _, digits = match.groups()
    if counts is not None:
        return int(re.sub("[^0-9]", "", counts))
    whole: int = 10 ** int(before_half or digits)
    return whole * HALF_DIGIT if before_half else whole


def _found(text: str) -> str:
    """Return a text that is not read, and what to write in its place."""
    if joined := re.search(r"(?<![0-9])([1-9])1[/\u2044]2[- ]?digit", text):
        return f'{quoted(text)} (write "{joined[1]} 1/2 digits" or "{joined[1]}.5 digits")'
    if parted := re.fullmatch(r"\s*([1-9][0-9]{0,2})[.'’]([0-9]{3})[- ]counts?\s*", text):
        return f'{quoted(text)} (counts are whole: write "{parted[1]}{parted[2]} counts")'
    words = next((words for looks, words in _HINTS if re.search(looks, text)), None)
    return describe(text) if words is None else f"{quoted(text)} ({words})"


_HINTS = (
    (r"[0-9],[0-9]{3}[- ]?digit", "digits are 1 to 9, or 1.5 to 8.5; write counts as counts"),
    (_OTHER_PART, "a part of a digit other than ½ has no one meaning: write its counts"),
    (rf"^{SPACE}[±+\u2212-]", "a display's steps have no sign"),
    ("[0-9].*(?:count|cts)", "counts are whole, from 2 to 1000000000"),
    ("[0-9].*digit", "digits are 1 to 9, or 1.5 to 8.5"),
)
"""What a text looks like, and what is said of it; the first that fits."""
