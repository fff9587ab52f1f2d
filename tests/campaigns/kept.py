"""Which readings a record's writer has said to be on the disk, held against the record later."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from math import isnan
from pathlib import Path
from typing import Any
from unittest import mock

from drivers.roles import Reading
from sequencer.record.write import RecordWriter, Role

Row = tuple[float, float | None]


@dataclass
class Kept:
    """Bench time and value of each reading, in order; the first `committed` are on the disk."""

    rows: list[Row] = field(default_factory=list)
    committed: int = 0

    def lost(self, record: Path) -> str:
        """Return what the record does not hold of what was committed; empty if nothing."""
        try:
            with closing(sqlite3.connect(f"file:{record}?mode=ro", uri=True)) as base:
                found = base.execute(
                    "SELECT answered_at, value FROM readings ORDER BY id"
                ).fetchall()
                sound = base.execute("PRAGMA integrity_check").fetchone()[0]
        except sqlite3.Error as error:
            return f"{type(error).__name__}: {error}"
        if sound != "ok":
            return f"the file is damaged: {sound}"
        if found[: self.committed] != self.rows[: self.committed]:
            return f"of {self.committed} committed readings {len(found)} are there, or altered"
        return ""


@contextmanager
def keeping() -> Iterator[Kept]:
    """Listen to every record that is written in this process while the context lasts."""
    kept = Kept()
    real_add, real_commit = RecordWriter.add_readings, RecordWriter.commit

    def add(self: Any, seq: int, tick: int, readings: Sequence[Reading], role: Role) -> None:
        kept.rows += [(r.answered_at, None if isnan(r.value) else r.value) for r in readings]
        real_add(self, seq, tick, readings, role)

    def commit(self: RecordWriter) -> None:
        waiting = len(kept.rows)
        real_commit(self)
        kept.committed = waiting

    with (
        mock.patch.object(RecordWriter, "add_readings", add),
        mock.patch.object(RecordWriter, "commit", commit),
    ):
        yield kept
