"""Read a file into raw data; what can't be read is a mistake like any other."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sequencer.documents.find import KINDS, Kind
from sequencer.documents.parsing import LONGEST, quoted
from sequencer.errors import DocumentError, Mistake

ENDLESS = 10**LONGEST
_TOO_LONG = f"an integer of more than {LONGEST} digits"
LARGEST_BYTES = 1_000_000
"""No document comes near a megabyte; more is a wrong file."""


@dataclass(frozen=True, slots=True)
class Source:
    """A document as it was given: where it stands and its text."""

    path: str
    text: str


def read_source(path: Path) -> Source:
    """Read a document's text.

    Raises
    ------
    DocumentError
        When the file can't be read, is too long or is not UTF-8.
    """
    try:
        with path.open("rb") as file:
            content = file.read(LARGEST_BYTES + 1)
    except OSError as error:
        reason = error.strerror or str(error)
        raise _mistake(str(path), "(the whole file)", reason, "a file that can be read") from None
    if len(content) > LARGEST_BYTES:
        found = f"more than {LARGEST_BYTES} bytes"
        raise _mistake(str(path), "(the whole file)", found, "a TOML document")
    try:
        return Source(str(path), content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        found = f"the byte 0x{content[error.start]:02x}"
        raise _mistake(str(path), f"line {line}", found, "text in UTF-8") from None


def parse_source(source: Source) -> dict[str, Any]:
    """Return a document's raw data.

    Raises
    ------
    DocumentError
        When it is no TOML; says line and column.
    """
    try:
        data = tomllib.loads(source.text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        place = re.search(r" \(at (.*)\)$", message)
        where = place[1] if place else "(the whole file)"
        found = message[: place.start()] if place else message
        expected = "valid TOML"
        if found.startswith(("Cannot declare", "Cannot overwrite")):
            expected += "; of several tables of one kind each begins with [[…]], such as [[limits]]"
        raise _mistake(source.path, where, f"broken TOML ({found})", expected) from None
    except ValueError:  # of tomllib's own integers, beyond what Python turns into a number
        raise _mistake(source.path, "(the whole file)", _TOO_LONG, "a number") from None
    except RecursionError:
        raise _mistake(source.path, "(the whole file)", "too many nested lists", "TOML") from None
    if _endless(data):  # hexadecimal: tomllib takes any length
        raise _mistake(source.path, "(the whole file)", _TOO_LONG, "a number")
    return data


def _endless(data: object) -> bool:
    """Tell whether data hold an integer that nothing on a bench needs, however deep."""
    left = [data]
    while left:
        value = left.pop()
        if isinstance(value, dict):
            left.extend(value.values())
        elif isinstance(value, list):
            left.extend(value)
        elif isinstance(value, int) and abs(value) >= ENDLESS:
            return True
    return False


def kind_of(source: Source, data: Mapping[str, Any]) -> Kind:
    """Return what kind of document data is, by its top table.

    Raises
    ------
    DocumentError
        When there is none of [unit], [bench], [profile], or more than one.
    """
    kinds = [kind for kind in KINDS if kind in data]
    if len(kinds) == 1:
        return kinds[0]
    tables = ", ".join(f"[{kind}]" for kind in kinds)
    if not tables:
        tables = "only " + ", ".join(quoted(key) for key in data) if data else "nothing"
    expected = "exactly one of the tables [unit], [bench], [profile]"
    raise _mistake(source.path, "(the whole file)", tables, expected)


def _mistake(file: str, key_path: str, found: str, expected: str) -> DocumentError:
    return DocumentError((Mistake(file, key_path, found, expected),))
