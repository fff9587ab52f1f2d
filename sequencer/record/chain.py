"""The running digest of a record that is not sealed yet: what was committed can't change unseen.

Each commit adds one row to the chain, in its own transaction: which rows it brought, and SHA-256
over ASCII text: the digest of the commit before (empty for the first) and a line feed; then for
every table that got rows, in the tables' order, its name, a line feed, the JSON array of these rows
(each an array of the columns in order) and a line feed. A row that was changed, removed or slipped
in is found, and about when it was written.

What no chain in the same file can show: that the file is an older copy of itself, or that somebody
computed the whole chain anew. Only the newest digest, kept elsewhere, tells that.
"""

import hashlib
import json
import sqlite3
from collections.abc import Iterable, Mapping, Sequence

from sequencer.record.schema import CHAIN, CONTENT

Row = tuple[int | float | str | None, ...]
Spans = dict[str, list[tuple[int, int]]]


def link(before: str, rows: Mapping[str, Sequence[Row]]) -> tuple[str, str]:
    """Return what the chain's next row holds: the spans as JSON, and the digest.

    `before` is the digest of the row before, `rows` what a commit adds, by table, each row as it
    will be read back: a number of a REAL column has to be a float, and not minus zero.
    """
    total = hashlib.sha256(f"{before}\n".encode())
    spans: Spans = {}
    for table in CONTENT:
        if new := rows.get(table):
            spans[table] = _spans(row[0] for row in new)
            text = json.dumps(new, separators=(",", ":"))
            total.update(f"{table}\n{text}\n".encode("ascii"))
    return json.dumps(spans, separators=(",", ":")), total.hexdigest()


def head(connection: sqlite3.Connection) -> str:
    """Return the newest digest; empty where the chain has no row."""
    newest = connection.execute("SELECT digest FROM chain ORDER BY id DESC LIMIT 1").fetchone()
    return "" if newest is None else str(newest[0])


def break_in(connection: sqlite3.Connection) -> str:
    """Return where a record's content is not as it was committed, in words; empty if all is."""
    digest = ""
    counted = dict.fromkeys(CONTENT, 0)
    cursor = connection.execute("SELECT id, rows, digest FROM chain ORDER BY id")
    for expected, (number, told, stored) in enumerate(cursor, start=1):
        try:
            spans: Spans = json.loads(told)
            rows = {table: _rows(connection, table, spans[table]) for table in spans}
            digest = link(digest, rows)[1]
        except (ValueError, TypeError, KeyError, AttributeError):
            digest = "unreadable"
        if number != expected or digest != stored:
            return _words(connection, number, told)
        for table, found in rows.items():
            counted[table] += len(found)
    for table, count in counted.items():
        query = f"SELECT count(*) FROM {table}"  # noqa: S608  # our names
        there = connection.execute(query).fetchone()[0]
        if there != count:
            return f"{table} has {there} rows, but {count} were committed"
    return ""


def _rows(
    connection: sqlite3.Connection, table: str, spans: Iterable[tuple[int, int]]
) -> list[Row]:
    if table not in CONTENT:
        raise KeyError(table)
    query = f"SELECT * FROM {table} WHERE id BETWEEN ? AND ? ORDER BY id"  # noqa: S608  # our names
    return [row for first, last in spans for row in connection.execute(query, (first, last))]


def _words(connection: sqlite3.Connection, number: int, told: object) -> str:
    count = connection.execute(f"SELECT count(*) FROM {CHAIN}").fetchone()[0]  # noqa: S608
    return (
        f"what was committed as number {number} of {count} ({str(told)[:120]}) is not there as it "
        "was written, or commits before it are missing"
    )


def _spans(numbers: Iterable[object]) -> list[tuple[int, int]]:
    """Return runs of consecutive numbers as first and last, in their order."""
    found: list[tuple[int, int]] = []
    for number in numbers:
        if not isinstance(number, int):
            raise TypeError(f"a row's number is {number!r}")
        if found and found[-1][1] == number - 1:
            found[-1] = (found[-1][0], number)
        else:
            found.append((number, number))
    return found
