"""Splits a program message into units and parameters (IEEE 488.2, clause 7)."""

import re
from typing import Final, NamedTuple

from simulated_bench.scpi.errors import ScpiError

LONGEST_MNEMONIC: Final = 12
"""IEEE 488.2, 7.6.1.4.1."""

_HEADER: Final = re.compile(
    r"(?P<header>\*[A-Za-z]+|:?[A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*)(?P<query>\??)"
    r"(?:[\x00-\x20]+(?P<data>.*))?\Z",
    re.DOTALL,
)
_SPECIAL: Final = re.compile(r"""["'(),;#]""")
_BLOCK_START: Final = re.compile(r"#[0-9]")


class Unit(NamedTuple):
    """One message unit: its header as written, whether it asks, its parameters as written."""

    header: str
    query: bool
    parameters: tuple[str, ...]


def split_units(message: str) -> list[str]:
    """Return the message units, split at semicolons outside strings and expressions.

    Raises
    ------
    ScpiError
        −151 for a string without end, −171 for an expression without end, −168 for a block.
    """
    if not _SPECIAL.search(message):
        return [message.strip()]
    return [part.strip() for part in _split(message, ";")]


def read_unit(text: str) -> Unit:
    """Return a unit's header and parameters.

    Raises
    ------
    ScpiError
        −101, −102, −103 or −112 for a header that is none.
    """
    match = _HEADER.match(text)
    if match is None:
        raise _bad_header(text)
    header, data = match["header"], match["data"]
    for mnemonic in header.lstrip(":*").split(":"):
        if len(mnemonic) > LONGEST_MNEMONIC:
            raise ScpiError(-112, mnemonic)
    if not data or not data.strip():
        return Unit(header, bool(match["query"]), ())
    parameters = tuple(part.strip() for part in _split(data, ","))
    if "" in parameters:
        raise ScpiError(-102, "an empty parameter")
    return Unit(header, bool(match["query"]), parameters)


def _bad_header(text: str) -> ScpiError:
    for character in text:
        if character > "~" or (character < " " and character not in "\t\r"):
            return ScpiError(-101, f"character {ord(character):#04x}")
    if re.match(r"\*?:?[A-Za-z][A-Za-z0-9_:]*\??,", text):
        return ScpiError(-103, text)
    return ScpiError(-102, text)


def _split(text: str, separator: str) -> list[str]:
    parts: list[str] = []
    start, depth, quote = 0, 0, ""
    for match in _SPECIAL.finditer(text):
        mark, at = match[0], match.start()
        if quote:
            if mark == quote:
                quote = ""
        elif mark in "\"'":
            quote = mark
        elif mark == "(":
            depth += 1
        elif mark == ")":
            depth -= 1
            if depth < 0:
                raise ScpiError(-171, "a bracket closed that was not open")
        elif mark == "#":
            if _BLOCK_START.match(text, at):
                raise ScpiError(-168)
        elif mark == separator and depth == 0:
            parts.append(text[start:at])
            start = at + 1
    if quote:
        raise ScpiError(-151, "a string without end")
    if depth:
        raise ScpiError(-171, "an expression without end")
    parts.append(text[start:])
    return parts
