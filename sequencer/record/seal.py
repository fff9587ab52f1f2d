"""The digest over a record's content, and the check that nothing was altered since.

The digest is SHA-256 over ASCII text: for every table in order its name and a line feed, then the
JSON array of its rows (each an array of the columns in order, rows by `id`), then a line feed. It
depends on what is recorded, not on how SQLite lays it out in the file. It shows a change to anyone
who kept the digest elsewhere; who can write the file can also write a new digest into it.
"""

import hashlib
import json
import sqlite3
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from sequencer.record.chain import break_in
from sequencer.record.files import opened, version_of
from sequencer.record.schema import CHAIN, CHAINED, SEAL, script, tables_of

ROWS_AT_ONCE = 4096
"""Rows turned to text together: large enough to be quick, small enough to keep memory flat."""


NO_CHAIN = (
    "An older version of the program made the record, without a running digest: whether it was "
    "altered before it was sealed can't be told."
)


@dataclass(frozen=True, slots=True)
class Verification:
    """What a look at a record's seal found.

    `intact`: the content has the digest that the seal holds. `guarded`: tables and triggers are as
    this program made them. `unbroken`: each commit's content is as it was committed, None where an
    older version kept no chain. `digest` is of the content as found, `remarks` says what is wrong.
    """

    sealed: bool
    intact: bool
    guarded: bool
    unbroken: bool | None
    digest: str
    remarks: tuple[str, ...] = ()

    @property
    def altered(self) -> bool:
        """Whether something is not as this program wrote it."""
        return not self.guarded or self.unbroken is False or (self.sealed and not self.intact)


def digest(connection: sqlite3.Connection) -> str:
    """Return the hexadecimal digest of all that a record holds, its seal left out."""
    total = hashlib.sha256()
    for table in tables_of(version_of(connection)):
        if table == SEAL:
            continue
        total.update(f"{table}\n[".encode())
        cursor = connection.execute(f"SELECT * FROM {table} ORDER BY id")  # noqa: S608  # our names
        separator = b""
        while rows := cursor.fetchmany(ROWS_AT_ONCE):
            total.update(separator)
            total.update(json.dumps(rows, separators=(",", ":"))[1:-1].encode("ascii"))
            separator = b","
        total.update(b"]\n")
    return total.hexdigest()


def layout(connection: sqlite3.Connection) -> dict[str, str]:
    """Return the SQL of every table, trigger, index and view, by its name."""
    query = "SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL"
    return dict(connection.execute(query))


@cache
def expected_layout(version: int) -> dict[str, str]:
    """Return the layout of an untouched record of a version."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        connection.executescript(script())
        found = layout(connection)
    finally:
        connection.close()
    gone = [name for name in found if name.startswith(CHAIN) and version < CHAINED]
    return {name: text for name, text in found.items() if name not in gone}


def verify(path: Path) -> Verification:
    """Look whether a record is sealed and its content is what was sealed.

    Raises
    ------
    RecordError
        When the file is no record, from a newer version, truncated or damaged.
    """
    with opened(path) as connection:
        connection.execute("BEGIN")  # all of it as at one moment, though a run may be writing
        stored = [str(row[0]) for row in connection.execute("SELECT digest FROM seal")]
        found = digest(connection)
        version = version_of(connection)
        guarded = layout(connection) == expected_layout(version)
        broken = break_in(connection) if version >= CHAINED else None
        connection.execute("ROLLBACK")
    remarks = []
    if not stored:
        remarks.append("The record was never sealed: the run did not finish.")
    elif stored != [found]:
        remarks.append(
            f"The content's digest is {found}, but the seal says {', '.join(stored)}: something "
            "was changed after sealing."
        )
    if not guarded:
        remarks.append(
            "The tables or the triggers that keep the record append-only are not as this program "
            "made them."
        )
    if broken:
        remarks.append(f"Something was changed after it was committed: {broken}.")
    elif broken is None and not stored:
        remarks.append(NO_CHAIN)
    unbroken = None if broken is None else not broken
    return Verification(bool(stored), stored == [found], guarded, unbroken, found, tuple(remarks))
