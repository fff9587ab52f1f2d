"""The spellings that data sheets have for a greatest error, each with one meaning.

Reader and editors' patterns are put together from the same pieces, in the part of regular
expressions that Python and ECMA 262 share; letters stand in both cases, units never do.
"""

import re
from dataclasses import dataclass
from typing import Literal

from sequencer.documents.dimensions import TEMPERATURE_DIFFERENCE, Dimension
from sequencer.documents.parsing import unit_pattern

Kind = Literal["of_reading", "of_range", "digits", "fixed"]

MOST_CHARACTERS = 120
"""The longest line that a data sheet needs is half of it."""

_SPACES = " \t\r\n\u00a0\u2009\u202f"
SPACE = f"[{_SPACES}]*"
_MINUS = "[-\u2212\u2013]"
_PLUS_MINUS = rf"(?:±|\+/?{_MINUS})"
_JOINT = rf"(?:{_PLUS_MINUS}|\+{SPACE}{_PLUS_MINUS}?)"

_POINT = r"[0-9]{1,20}(?:\.[0-9]{0,30})?|\.[0-9]{1,30}"
_COMMA = "0,[0-9]{1,30}|[0-9]{1,20},(?:[0-9]{1,2}|[0-9]{4,30})"
"""After a comma three digits could be a thousand's, unless a nought alone stands before it."""
NUMBER = f"(?:{_COMMA}|{_POINT})(?:[eE][+\u2212-]?[0-9]{{1,2}})?"
"""Without a sign; as long as a written float may get, and within what a quantity may have."""
A_POINT = r"(?:[0-9]\.|\.[0-9])"
_INTEGER = "[0-9]{1,9}"


def any_case(text: str) -> str:
    """Return the pattern of a word, or of several parted by "|", in upper and lower case."""
    return re.sub("[a-z]", lambda letter: f"[{letter[0]}{letter[0].upper()}]", text)


_OF = f"(?:{any_case('of')}[{_SPACES}]+(?:{any_case('the')}[{_SPACES}]+)?)?"
_READING = any_case("(?:measured )?value|reading|rdg") + r"\.?"
_RANGE = any_case(r"range|rng\.?|full[ -]?scale|fsd?|f\.s\.?|f\.s\.d\.?")
_DIGITS = rf"(?:{any_case('digits?|dgts?|dig|d|lsd|counts?|cts?')})\.?"
_RATIO = f"%|{any_case('ppm')}"


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a line: what it is a part of, and its size in the one spelling ("0.5 %")."""

    kind: Kind
    size: str


def split_line(text: str) -> list[str]:
    """Return a line's parts without "±", "+" and the brackets round the whole."""
    line = re.sub(f"^{_PLUS_MINUS}{SPACE}", "", text.strip(_SPACES))
    if re.fullmatch(r"\([^()]*\)", line):
        line = re.sub(f"^{_PLUS_MINUS}{SPACE}", "", line[1:-1].strip(_SPACES))
    parts = re.split(f"(?<![0-9.,][eE]){_JOINT}", line)
    return [part.strip(_SPACES) for part in parts]


def both_styles(text: str) -> bool:
    """Tell whether a line has decimal commas and points, so that either may part thousands."""
    return bool(re.search("[0-9],[0-9]", text) and re.search(A_POINT, text))


def read_part(text: str, dimension: Dimension) -> Part | None:
    """Return a part in its one spelling, or None where no spelling of it is known."""
    for kind, what in _endings(dimension).items():
        number = _INTEGER if kind == "digits" else NUMBER
        match = re.fullmatch(f"({number}){SPACE}({what})", text)
        if match is None:
            continue
        size = match[1].replace(",", ".")
        if kind == "digits":
            return Part(kind, size)
        if kind == "fixed":
            return Part(kind, f"{size} {_kelvin(match[2], dimension)}")
        return Part(kind, f"{size} {'%' if match[2].startswith('%') else 'ppm'}")
    return None


def line_pattern(dimension: Dimension) -> str:
    """Return the regular expression (ECMA 262) of all lines that are read, for editors."""
    endings = _endings(dimension)
    counted = endings.pop("digits")
    others = "|".join(endings.values())
    end = rf"{SPACE}\)?{SPACE}$"
    part = f"(?:{NUMBER}{SPACE}(?:{others})|{_INTEGER}{SPACE}(?:{counted}))"
    joined = f"(?:{SPACE}{_JOINT}{SPACE}(?=[0-9.])|(?={end}))"
    anything = r"[\s\S]*"
    brackets = r"(?=[^()]*$|[^()]*\([^()]*\)[^()]*$)"
    some_size = rf"(?=(?:(?:{anything}[^eE])?[{_SPACES}(±+/\u2212\u2013-])?[0.,]*[1-9])"
    once = "".join(
        rf"(?!(?:{anything}[0-9.]{SPACE}(?:{what})(?={SPACE}(?:[+±)]|$))){{2}})"
        for what in (*endings.values(), counted)
    )
    one_style = f"(?!(?={anything}[0-9],[0-9])(?={anything}{A_POINT}))"
    sign = f"(?:{_PLUS_MINUS}{SPACE})?"
    opened = rf"{SPACE}{sign}(?:\({SPACE}{sign})?"
    return f"^{brackets}{one_style}{some_size}{once}{opened}(?:{part}{joined})+{end}"


def _endings(dimension: Dimension) -> dict[Kind, str]:
    """Return by kind what stands behind the number; a part of nothing named is of the reading."""
    units = unit_pattern(dimension)
    if dimension is TEMPERATURE_DIFFERENCE:
        units += "|°C|℃|degC"
    return {
        "of_reading": f"(?:{_RATIO})(?:{SPACE}{_OF}(?:{_READING}))?",
        "of_range": f"(?:{_RATIO}){SPACE}{_OF}(?:{_RANGE})",
        "digits": _DIGITS,
        "fixed": units,
    }


def _kelvin(unit: str, dimension: Dimension) -> str:
    """Return a unit, in a thermometer's line K for °C: an error is a difference."""
    degrees = "C" in unit or "℃" in unit
    return "K" if dimension is TEMPERATURE_DIFFERENCE and degrees else unit
