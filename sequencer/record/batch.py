"""Rows that wait for the disk, and the one transaction that brings them there together."""

import sqlite3
from pathlib import Path

from sequencer.errors import RecordError
from sequencer.record.chain import Row, head, link
from sequencer.record.files import BUSY_S, check_header, remedy, uri
from sequencer.record.schema import CHAIN, TABLES

COMMIT_BUSY_S = 1.0
"""No guard looks while a commit waits for another program that holds the file."""


class Batch:
    """A record opened to be written, and what waits to be.

    Attributes
    ----------
    waiting
        By table the rows that are not on the disk yet.
    next
        By table the number of the next row.
    acknowledged
        How many readings were brought to the disk.
    head
        The running digest of what is there.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.acknowledged = 0
        self.connection = _connect(path)
        self.waiting: dict[str, list[Row]] = {table: [] for table in TABLES}
        try:
            self.next = {table: self._count(table) + 1 for table in TABLES}
            self.head = head(self.connection)
            self.connection.execute(f"PRAGMA busy_timeout = {COMMIT_BUSY_S * 1000:.0f}")
        except sqlite3.Error as error:
            self.connection.close()
            raise RecordError(_not_opened(path, error)) from error

    @property
    def is_open(self) -> bool:
        """Whether it has not been closed."""
        try:
            self.connection.total_changes  # noqa: B018  # raises when closed
        except sqlite3.ProgrammingError:
            return False
        return True

    def add(self, table: str, *values: float | str | None) -> int:
        """Let a row wait and return its number."""
        number = self.next[table]
        self.next[table] = number + 1
        self.waiting[table].append((number, *values))
        return number

    def commit(self) -> bool:
        """Bring everything that waits to the disk, and the chain's row that vouches for it.

        Returns whether anything waited. A failure leaves it waiting.

        Raises
        ------
        RecordError
            When the disk is full or fails.
        """
        connection, waiting = self.connection, self.waiting
        if not any(waiting.values()):
            return False
        try:
            spans, digest = link(self.head, waiting)
            waiting[CHAIN] = [(self.next[CHAIN], spans, digest)] if spans != "{}" else []
            connection.execute("BEGIN IMMEDIATE")
            for table, rows in waiting.items():
                if rows:
                    marks = ",".join("?" * len(rows[0]))
                    connection.executemany(f"INSERT INTO {table} VALUES ({marks})", rows)  # noqa: S608  # our names
            connection.execute("COMMIT")
        except (sqlite3.Error, OverflowError, MemoryError) as error:
            if self.is_open and connection.in_transaction:
                connection.execute("ROLLBACK")
            if isinstance(error, MemoryError):
                raise
            own = f" ({self.acknowledged} readings by this run)" if self.acknowledged else ""
            raise RecordError(
                f"{self._path} can't be written: {error}. What was committed before{own} can still "
                f"be read. {remedy(error)}"
            ) from error
        self.acknowledged += len(waiting["readings"])
        if waiting[CHAIN]:
            self.head = digest
            self.next[CHAIN] += 1
        for rows in waiting.values():
            rows.clear()
        return True

    def _count(self, table: str) -> int:
        query = f"SELECT coalesce(max(id), 0) FROM {table}"  # noqa: S608  # our names
        return int(self.connection.execute(query).fetchone()[0])


def _not_opened(path: Path, error: sqlite3.Error) -> str:
    return f"{path} can't be opened to be written: {error}. {remedy(error)}"


def _connect(path: Path) -> sqlite3.Connection:
    check_header(path)
    try:
        connection = sqlite3.connect(
            uri(path, "rw"), uri=True, timeout=BUSY_S, isolation_level=None
        )
        for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            connection.execute(f"PRAGMA {pragma}")
    except sqlite3.Error as error:
        raise RecordError(_not_opened(path, error)) from error
    return connection
