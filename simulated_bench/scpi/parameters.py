"""Typed parameters: text on the wire to values (IEEE 488.2, 7.7; SCPI-1999, volume 1, 7)."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from math import isfinite
from typing import Final, Protocol

from simulated_bench.scpi.errors import ScpiError


class Word(Enum):
    """A special value of a numeric parameter, resolved by the instrument when it is carried out."""

    MINIMUM = "MIN"
    MAXIMUM = "MAX"
    DEFAULT = "DEF"


Value = float | int | bool | str | tuple[int, ...] | Word

_WORDS: Final = {
    "MIN": Word.MINIMUM,
    "MINIMUM": Word.MINIMUM,
    "MAX": Word.MAXIMUM,
    "MAXIMUM": Word.MAXIMUM,
    "DEF": Word.DEFAULT,
    "DEFAULT": Word.DEFAULT,
}
_NUMBER: Final = re.compile(
    r"([+-]?(?:\d+\.?\d*|\.\d+)(?:\s*[eE]\s*[+-]?\d+)?)\s*([A-Za-z][A-Za-z0-9/.^-]*)?\Z"
)
_OTHER_BASE: Final = re.compile(r"#(?:([hH])([0-9A-Fa-f]+)|([qQ])([0-7]+)|([bB])([01]+))\Z")
_MNEMONIC: Final = re.compile(r"[A-Za-z][A-Za-z0-9_]*\Z")
_CHANNELS: Final = re.compile(r"\(\s*@\s*(\d{1,9}(?:\s*[,:]\s*\d{1,9})*)\s*\)\Z")

LARGEST_EXPONENT: Final = 32000
"""IEEE 488.2, 7.7.2.4.1: beyond it, −123."""

MOST_CHANNELS: Final = 64

MULTIPLIERS: Final[dict[str, float]] = {
    "": 1.0,
    "EX": 1e18,
    "PE": 1e15,
    "T": 1e12,
    "G": 1e9,
    "MA": 1e6,
    "K": 1e3,
    "M": 1e-3,
    "U": 1e-6,
    "N": 1e-9,
    "P": 1e-12,
    "F": 1e-15,
    "A": 1e-18,
}
"""IEEE 488.2, table 7-2."""

MEGA_UNITS: Final = ("OHM", "HZ")
"""MOHM and MHZ mean mega (IEEE 488.2, table 7-2, note)."""


class Parameter(Protocol):
    """What turns a parameter's text into a value."""

    @property
    def optional(self) -> bool:
        """Whether it may be left out."""

    def read(self, text: str) -> Value:
        """Return the value, or raise the standard's error."""


def suffixes(unit: str) -> dict[str, float]:
    """Return every suffix of a unit with its factor."""
    table = {prefix + unit: factor for prefix, factor in MULTIPLIERS.items()}
    if unit in MEGA_UNITS:
        table["M" + unit] = 1e6
    return table


def plain_number(text: str) -> tuple[float, str]:
    """Return a number and its suffix in upper case.

    Raises
    ------
    ScpiError
        −104 for another type of data, −120 for a broken number, −123 for its exponent.
    """
    match = _NUMBER.match(text)
    if match is None:
        other = _OTHER_BASE.match(text)
        if other is not None:
            base = 16 if other[1] else 8 if other[3] else 2
            return float(min(int(other[2] or other[4] or other[6], base), 2**63)), ""
        if text[0] in "\"'(" or _MNEMONIC.match(text):
            raise ScpiError(-104, text)
        raise ScpiError(-120, text)
    digits = match[1].replace(" ", "").replace("\t", "")
    _, _, exponent = digits.lower().partition("e")
    if exponent and (len(exponent) > 6 or abs(int(exponent)) > LARGEST_EXPONENT):
        raise ScpiError(-123, text)
    return float(digits), (match[2] or "").upper()


@dataclass(frozen=True, slots=True)
class Number:
    """A decimal number with an optional suffix; `words` allows MIN, MAX and DEF."""

    unit: str = ""
    optional: bool = False
    words: bool = True

    def read(self, text: str) -> Value:
        """Return the number in SI, or a `Word`."""
        if self.words and text.upper() in _WORDS:
            return _WORDS[text.upper()]
        number, suffix = plain_number(text)
        if suffix:
            if not self.unit:
                raise ScpiError(-138, suffix)
            factor = suffixes(self.unit).get(suffix)
            if factor is None:
                raise ScpiError(-131, suffix)
            number *= factor
        if not isfinite(number):
            raise ScpiError(-222, text)
        return number


@dataclass(frozen=True, slots=True)
class Extreme:
    """Only MIN, MAX or DEF, as a question about a setting takes."""

    optional: bool = True

    def read(self, text: str) -> Value:
        """Return a `Word`."""
        word = _WORDS.get(text.upper())
        if word is None:
            raise ScpiError(-141 if _MNEMONIC.match(text) else -104, text)
        return word


@dataclass(frozen=True, slots=True)
class Integer:
    """A number rounded to an integer within bounds (IEEE 488.2, 7.7.2.4)."""

    low: int
    high: int
    optional: bool = False

    def read(self, text: str) -> Value:
        """Return the integer."""
        number, suffix = plain_number(text)
        if suffix:
            raise ScpiError(-138, suffix)
        if not self.low - 0.5 <= number < self.high + 0.5:
            raise ScpiError(-222, text)
        return round(number)


@dataclass(frozen=True, slots=True)
class Boolean:
    """ON, OFF or a number, which is rounded: 0 is off (SCPI-1999, volume 1, 7.3)."""

    optional: bool = False

    def read(self, text: str) -> Value:
        """Return the state."""
        word = text.upper()
        if word in {"ON", "OFF"}:
            return word == "ON"
        if _MNEMONIC.match(text):
            raise ScpiError(-141, text)
        number, suffix = plain_number(text)
        if suffix:
            raise ScpiError(-138, suffix)
        return abs(number) >= 0.5


@dataclass(frozen=True, slots=True)
class Choice:
    """One of several mnemonics, each given by its long form with the short form in capitals."""

    names: Mapping[str, str]
    optional: bool = False

    def read(self, text: str) -> Value:
        """Return the value that the mnemonic stands for."""
        word = text.upper()
        for name, value in self.names.items():
            if word in {name.upper(), short_form(name)}:
                return value
        raise ScpiError(-141 if _MNEMONIC.match(text) else -104, text)


@dataclass(frozen=True, slots=True)
class Text:
    """A quoted string; a quote within it is doubled."""

    optional: bool = False

    def read(self, text: str) -> Value:
        """Return what stands between the quotes."""
        quote = text[0]
        if quote not in "\"'":
            raise ScpiError(-104, text)
        inner = text[1:-1]
        if len(text) < 2 or text[-1] != quote or quote in inner.replace(quote * 2, ""):
            raise ScpiError(-151, text)
        return inner.replace(quote * 2, quote)


@dataclass(frozen=True, slots=True)
class ChannelList:
    """A list of inputs, ``(@101,103:105)`` (SCPI-1999, volume 1, 8.3.2)."""

    optional: bool = False

    def read(self, text: str) -> Value:
        """Return the channel numbers in the order given."""
        match = _CHANNELS.match(text)
        if match is None:
            raise ScpiError(-171 if text[0] == "(" else -104, text)
        channels: list[int] = []
        for part in match[1].split(","):
            ends = [int(end) for end in part.split(":")]
            if len(ends) > 2:
                raise ScpiError(-171, text)
            if abs(ends[-1] - ends[0]) + len(channels) >= MOST_CHANNELS:
                raise ScpiError(-223, text)
            step = 1 if ends[-1] >= ends[0] else -1
            channels.extend(range(ends[0], ends[-1] + step, step))
        return tuple(channels)


def short_form(mnemonic: str) -> str:
    """Return the short form: what is written in capitals."""
    return "".join(c for c in mnemonic if not c.islower())
