"""Reads ``[instruments.NAME]`` of a scenario: who is on the table, in the order of ports.

The shipped instruments are always there and come first. Others are there when a scenario has a
table for them, in its order; a table's `kind` says what it is (a name that is a kind needs none).
The control instrument comes last.
"""

import re
from typing import Any, Final

from pydantic import ValidationError

from simulated_bench.errors import ScenarioError
from simulated_bench.instruments.instrument_table import InstrumentTable
from simulated_bench.instruments.more_tables import KINDS, OwnVoltmeterTable
from simulated_bench.instruments.tables import SHIPPED, ControlTable

CONTROL: Final = "control"
RESERVED: Final = frozenset({"unit", "room"})
"""Names that faults of no instrument go by."""

_NAME: Final = re.compile(r"[a-z][a-z0-9_]{0,31}\Z")


def read_tables(raw: dict[str, dict[str, Any]], scenario: str) -> dict[str, InstrumentTable]:
    """Return the table of every instrument that is there, in the order of ports.

    Raises
    ------
    ScenarioError
        With every mistake at once.
    """
    mistakes: list[str] = []
    tables: dict[str, InstrumentTable] = {}
    own = [name for name in raw if name not in SHIPPED and name != CONTROL]
    for name in (*SHIPPED, *own, *([CONTROL] if CONTROL in raw else [])):
        given = dict(raw.get(name, {}))
        where = f"{scenario}: instruments.{name}"
        model = SHIPPED.get(name) or (ControlTable if name == CONTROL else None)
        if model is None:
            model = KINDS.get(str(given.pop("kind", name)))
        if model is None or name in RESERVED or not _NAME.match(name):
            mistakes.append(
                f"{where}: found an unknown instrument, expected one of "
                f"{', '.join(SHIPPED)}, {CONTROL}, or another name in small letters with "
                f"kind = one of {', '.join(KINDS)}"
            )
            continue
        try:
            tables[name] = model.model_validate(given)
        except ValidationError as error:
            mistakes.extend(
                f"{where}.{'.'.join(str(p) for p in mistake['loc'])}: "
                f"{mistake['msg'].removeprefix('Value error, ')}"
                for mistake in error.errors()
            )
    mistakes += _unconnected(tables, scenario)
    if mistakes:
        raise ScenarioError(tuple(mistakes))
    return tables


def _unconnected(tables: dict[str, InstrumentTable], scenario: str) -> list[str]:
    scanners: list[str] = []
    mistakes = []
    for name, table in tables.items():
        if isinstance(table, KINDS["scanner"]):
            scanners.append(name)
        if isinstance(table, OwnVoltmeterTable) and table.behind not in (None, *scanners):
            mistakes.append(
                f"{scenario}: instruments.{name}.behind: found {table.behind!r}, expected a "
                f"scanner that stands before it{': ' if scanners else ''}{', '.join(scanners)}"
            )
    return mistakes
