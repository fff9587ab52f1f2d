"""Dialect files: found by name or path, filled up from the dialects they inherit, and checked.

`inherits = "NAME"` takes another dialect and lays this file's tables over it; `without` names what
of the inherited is left out ("errors", "settings.voltage_range"). A relative path is looked for
beside the file that names it.
"""

import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from functools import cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from drivers.dialect import Dialect, Link
from drivers.errors import UnknownDialect

SHIPPED = Path(__file__).parent / "dialects"

Table = dict[str, Any]


class DialectMistake(Exception):
    """What is wrong with a dialect file, and the remedy."""

    def __init__(self, found: str, remedy: str) -> None:
        super().__init__(found)
        self.found = found
        self.remedy = remedy


def shipped() -> tuple[str, ...]:
    """Return the names of the dialects that come with the program."""
    return tuple(sorted(path.stem for path in SHIPPED.glob("*.toml")))


def load_dialect(name: str, instrument: str, address: str) -> Dialect:
    """Read a dialect by its shipped name or by the path of a TOML file.

    Raises
    ------
    UnknownDialect
        When there is no such file, or it is not a valid dialect; every mistake is listed.
    """
    try:
        return read_dialect(name)
    except DialectMistake as mistake:
        raise UnknownDialect(
            instrument=instrument, address=address, found=mistake.found, remedy=mistake.remedy
        ) from None


def adapted(dialect: Dialect, link: Mapping[str, object]) -> Dialect:
    """Return a dialect with an instrument's own way of the link laid over the family's."""
    if not link:
        return dialect
    own = dict(link)
    errors = dialect.errors if own.pop("error_queue", True) else None
    return dialect.model_copy(
        update={"errors": errors, "link": Link.model_validate(dialect.link.model_dump() | own)}
    )


@cache
def read_dialect(name: str) -> Dialect:
    """Read a dialect; raises DialectMistake with everything that is wrong."""
    table = _whole(name, Path(), ())
    try:
        return Dialect.model_validate(table)
    except ValidationError as error:
        mistakes = "; ".join(
            f"{'.'.join(map(str, item['loc'])) or 'whole file'}: {item['msg']}"
            for item in error.errors()
        )
        raise DialectMistake(
            f"dialect {name!r} has mistakes: {mistakes}", "Correct the file."
        ) from None


def _whole(name: str, beside: Path, heirs: tuple[Path, ...]) -> Table:
    """Return a file's table laid over everything that it inherits."""
    path = (beside / name if name.endswith(".toml") else SHIPPED / f"{name}.toml").resolve()
    if path in heirs:
        circle = " → ".join(one.stem for one in (*heirs, path))
        raise DialectMistake(f"dialect {name!r} inherits itself ({circle})", "Break the circle.")
    table = _parsed(name, path, heirs)
    parent = table.pop("inherits", None)
    without = table.pop("without", [])
    if parent is None:
        if without:
            raise DialectMistake(
                f"dialect {name!r}: 'without' has nothing to leave out",
                "Use it beside 'inherits' only.",
            )
        return table
    if not isinstance(parent, str) or not _is_texts(without):
        raise DialectMistake(
            f"dialect {name!r}: 'inherits' must be a name and 'without' a list of key paths",
            'Write them like inherits = "scpi-voltmeter" and without = ["errors"].',
        )
    inherited = _whole(parent, path.parent, (*heirs, path))
    for key_path in without:
        _leave_out(inherited, key_path, name, parent)
    return _laid_over(inherited, table)


def _parsed(name: str, path: Path, heirs: tuple[Path, ...]) -> Table:
    by = f" (inherited by {heirs[-1].stem!r})" if heirs else ""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise DialectMistake(
            f"no dialect {name!r} was found{by}",
            f"{_nearest(name)}; a path must end in .toml.",
        ) from None
    except (OSError, ValueError, RecursionError) as error:
        raise DialectMistake(
            f"dialect {name!r} can't be read{by} ({error})", "Correct the file."
        ) from None


def _nearest(name: str) -> str:
    """Say which shipped dialects are meant most likely."""
    near = get_close_matches(name, shipped(), n=3, cutoff=0.5)
    if not near:
        return f"Known dialects are {', '.join(shipped())}"
    more = f" (of {len(shipped())} known ones)"
    return f"Did you mean {' or '.join(near)}{more}"


def _is_texts(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(item, str) for item in value)


def _leave_out(table: Table, key_path: str, name: str, parent: str) -> None:
    *folders, last = key_path.split(".")
    for folder in folders:
        table = table.get(folder, {})
    if not isinstance(table, dict) or last not in table:
        raise DialectMistake(
            f"dialect {name!r}: 'without' names {key_path!r}, which {parent!r} does not have",
            "Take it out of the list, or correct it.",
        )
    del table[last]


def _laid_over(below: Mapping[str, Any], above: Mapping[str, Any]) -> Table:
    """Merge tables key by key; where both have something else than tables, the upper one counts."""
    merged = dict(below)
    for key, value in above.items():
        under = merged.get(key)
        both = isinstance(under, dict) and isinstance(value, dict)
        merged[key] = _laid_over(under, value) if both else value  # type: ignore[arg-type]
    return merged
