"""The dialects of a bench as they are really spoken, for whoever has to understand a run later.

What a dialect inherits, what an instrument's own link lays over it, and which package a driver in
Python came from: all of it can be another one tomorrow, under the same name.
"""

import json
from collections.abc import Mapping
from importlib.metadata import entry_points

from drivers.dialect import Dialect
from drivers.dialect_files import adapted, load_dialect
from drivers.python_wire import GROUP, PREFIX
from drivers.roles import BenchSpec


def resolved_dialects(spec: BenchSpec) -> dict[str, tuple[str, str]]:
    """Return by instrument its dialect's name or path, and all of its tables as JSON.

    Raises
    ------
    UnknownDialect
        When one can't be read.
    """
    found = {}
    for one in spec.instruments:
        dialect = adapted(load_dialect(one.dialect, one.name, one.address), one.link)
        # Sets in order, so that the same dialect is the same text in every process.
        found[one.name] = (one.dialect, json.dumps(dialect.model_dump(), default=sorted))
    return found


def same_dialect(one: str, other: str) -> bool:
    """Return whether two of `resolved_dialects` say the same, whatever stands there unsaid.

    What an earlier version of the program did not know yet is compared by its default.

    Raises
    ------
    ValueError
        When either is none that this version knows.
    """
    return Dialect.model_validate_json(one) == Dialect.model_validate_json(other)


def driver_packages(spec: BenchSpec) -> Mapping[str, str]:
    """Return the drivers in Python that a bench uses: name to package and version."""
    used = {
        one.address.removeprefix(PREFIX).partition("::")[0]
        for one in spec.instruments
        if one.address.startswith(PREFIX)
    }
    return {
        f"driver {entry.name}": "unknown package"
        if entry.dist is None
        else f"{entry.dist.name} {entry.dist.version}"
        for entry in entry_points(group=GROUP)
        if entry.name in used
    }
