"""Read a record, as written or as left behind by a crash, without changing it."""

import sqlite3
from collections.abc import Mapping
from contextlib import AbstractContextManager, ExitStack
from dataclasses import dataclass
from math import nan
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from sequencer.errors import RecordError
from sequencer.record.chain import head
from sequencer.record.encode import decode_mapping, decode_reply, decode_request
from sequencer.record.files import damaged, opened, version_of
from sequencer.record.schema import CHAINED
from sequencer.requests import Array, Readings, Reply, Request
from sequencer.results import Event

if TYPE_CHECKING:
    import pandas as pd

STARTED_OVER = "started over"
"""The kind of event after which a trial begins anew; its detail holds the trial and the last
request that no longer counts."""

NO_READINGS = Readings({}, {}, {})

FRAME = """
SELECT q.trial, t.name AS trial_name, r.request, r.tick, r.role, c.name AS channel,
       r.asked_at AS asked_at_s, r.answered_at AS answered_at_s, r.value, r.raw, r.flag
FROM readings r JOIN requests q ON q.id = r.request JOIN trials t ON t.id = q.trial
JOIN channels c ON c.id = r.channel
ORDER BY r.id
"""


ROWS = (
    "SELECT r.request, r.channel, r.asked_at, r.answered_at, r.value FROM readings r "
    "JOIN requests q ON q.id = r.request"
)


@dataclass(frozen=True, slots=True)
class Step:
    """One request of a trial with its reply; None as reply where the run was cut off.

    `readings` are the rows that were read for the request itself (guards' rows left out), also
    those of a Read that never came to its end. Of a request without a reply `watched` are the rows
    that were read for guards meanwhile: what a guard saw when it ended the run is among them.
    """

    seq: int
    request: Request
    reply: Reply | None
    readings: Readings = NO_READINGS
    watched: Readings = NO_READINGS


@dataclass(frozen=True, slots=True)
class RecordedTrial:
    """A trial as it was begun: its place in the profile, name and settings as JSON text."""

    index: int
    name: str
    settings_json: str


class RecordReader:
    """Look into one record; use it as a context, or call `close`."""

    def __init__(self, path: Path, connection: sqlite3.Connection, stack: ExitStack) -> None:
        self.path = path
        self._connection = connection
        self._stack = stack

    @classmethod
    def open(cls, path: Path) -> Self:
        """Open a record, finished or not, also while it is being written.

        Raises
        ------
        RecordError
            When the file is no record, from a newer version, truncated or damaged.
        """
        with ExitStack() as stack:
            context: AbstractContextManager[sqlite3.Connection] = opened(path)
            connection = stack.enter_context(context)
            return cls(path, connection, stack.pop_all())
        raise AssertionError  # mypy: an ExitStack may swallow errors; this one swallows none

    @property
    def documents(self) -> Mapping[str, tuple[str, str]]:
        """By kind (unit, bench, profile) the path and the source text as given to the run."""
        rows = self._rows("SELECT kind, path, text FROM documents ORDER BY id")
        return {kind: (path, text) for kind, path, text in rows}

    @property
    def versions(self) -> Mapping[str, str]:
        """By name the version of each piece of software that made the record."""
        return dict(self._rows("SELECT name, version FROM versions ORDER BY id"))

    @property
    def options(self) -> Mapping[str, Any]:  # whatever JSON value the run was given
        """What else the run was told."""
        rows = self._rows("SELECT name, value FROM options ORDER BY id")
        return {name: decode_mapping(value)[""] for name, value in rows}

    @property
    def identities(self) -> Mapping[str, str]:
        """By instrument its latest answer to *IDN?."""
        return dict(self._rows("SELECT instrument, answer FROM identities ORDER BY id"))

    @property
    def trials(self) -> tuple[RecordedTrial, ...]:
        """The trials that were begun, in the profile's order."""
        rows = self._rows("SELECT id, name, settings FROM trials ORDER BY id")
        return tuple(RecordedTrial(*row) for row in rows)

    @property
    def events(self) -> tuple[Event, ...]:
        """All events in the order in which they were recorded."""
        query = "SELECT at, wall, kind, severity, text, detail FROM events ORDER BY id"
        return tuple(
            Event(nan if at is None else at, wall, kind, severity, text, decode_mapping(detail))
            for at, wall, kind, severity, text, detail in self._rows(query)
        )

    @property
    def started(self) -> str:
        """Wall time of the run's start, ISO 8601."""
        rows = self._rows("SELECT wall FROM moments WHERE what = 'started' ORDER BY id LIMIT 1")
        return str(rows[0][0]) if rows else ""

    @property
    def ended(self) -> str:
        """Wall time at which the run came to its end by itself; empty where it did not."""
        rows = self._rows("SELECT what, wall FROM moments WHERE what <> 'sealed' ORDER BY id DESC")
        return str(rows[0][1]) if rows and rows[0][0] == "ended" else ""

    @property
    def head(self) -> str:
        """The running digest of what was committed; empty in a record that kept no chain."""
        return head(self._connection) if version_of(self._connection) >= CHAINED else ""

    @property
    def result(self) -> str | None:
        """The result as JSON text, as it was sealed; None before the record is finished."""
        rows = self._rows("SELECT body FROM result ORDER BY id DESC LIMIT 1")
        return str(rows[0][0]) if rows else None

    @property
    def seal(self) -> str | None:
        """The digest that the record was sealed with; None before it is finished."""
        rows = self._rows("SELECT digest FROM seal ORDER BY id LIMIT 1")
        return str(rows[0][0]) if rows else None

    def steps(self, trial_index: int) -> tuple[Step, ...]:
        """Return a trial's requests with their replies and readings, as far as it went.

        What came before the trial was started over is left out.

        Raises
        ------
        RecordError
            When what is stored is no request or reply, or rows of a reply are missing.
        """
        readings = self._readings(trial_index)
        rows = self._rows(
            "SELECT q.id, q.body, a.body FROM requests q LEFT JOIN replies a ON a.id = q.id "
            "WHERE q.trial = ? AND q.id > ? ORDER BY q.id",
            trial_index,
            self._started_over_after(trial_index),
        )
        steps = []
        for seq, request, reply in rows:
            own = readings.get(seq, NO_READINGS)
            answer = None if reply is None else decode_reply(reply, own)
            watched = self._watched(seq) if reply is None else NO_READINGS
            steps.append(Step(seq, decode_request(request), answer, own, watched))
        return tuple(steps)

    def requests(self) -> tuple[tuple[int, Request], ...]:
        """Return every request of the run with its number, also those that no longer count."""
        rows = self._rows("SELECT id, body FROM requests ORDER BY id")
        return tuple((seq, decode_request(body)) for seq, body in rows)

    def _started_over_after(self, trial_index: int) -> int:
        """Return the last request of a trial that no longer counts; 0 where all count."""
        marks = [event.detail for event in self.events if event.kind == STARTED_OVER]
        return max((int(m["after"]) for m in marks if m.get("trial") == trial_index), default=0)

    @property
    def last_request(self) -> int:
        """The number of the latest request of all; 0 where there is none."""
        return int(self._rows("SELECT coalesce(max(id), 0) FROM requests")[0][0])

    @property
    def last_time(self) -> float:
        """The latest bench time that the record holds, in seconds."""
        query = (
            "SELECT max(coalesce((SELECT max(answered_at) FROM readings), 0), "
            "coalesce((SELECT max(at) FROM requests), 0))"
        )
        return float(self._rows(query)[0][0])

    def frame(self) -> "pd.DataFrame":
        """Return all readings as a table, in the order read.

        Columns: trial, trial_name, request, tick, role, channel, asked_at_s, answered_at_s (bench
        time), value (SI, temperatures in degrees Celsius; NaN where there was none), raw, flag.
        """
        import pandas as pd  # noqa: PLC0415  # half a second that only the export needs

        cursor = self._connection.execute(FRAME)
        names = [column[0] for column in cursor.description]
        frame = pd.DataFrame(self._rows(FRAME), columns=names)
        return frame.astype({"asked_at_s": float, "answered_at_s": float, "value": float})

    def close(self) -> None:
        """Close the file."""
        self._stack.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stack.__exit__(kind, error, trace)

    def _rows(self, query: str, *values: int) -> list[tuple[Any, ...]]:  # columns of any type
        try:
            return self._connection.execute(query, values).fetchall()
        except (sqlite3.Error, UnicodeError) as error:
            raise damaged(self.path, error) from error

    def _watched(self, request: int) -> Readings:
        """Return the rows that were read for guards during a request."""
        rows = self._rows(f"{ROWS} WHERE q.id = ? AND r.role = 'watch' ORDER BY r.id", request)
        return self._by_request(rows).get(request, NO_READINGS)

    def _readings(self, trial_index: int) -> dict[int, Readings]:
        """Return by request the rows read for it."""
        where = "WHERE q.trial = ? AND r.role <> 'watch' ORDER BY r.id"
        return self._by_request(self._rows(f"{ROWS} {where}", trial_index))

    def _by_request(self, rows: list[tuple[Any, ...]]) -> dict[int, Readings]:
        """Sort rows by request and channel, then cut them."""
        names = dict(self._rows("SELECT id, name FROM channels"))
        if not rows:
            return {}
        table = np.array(rows, dtype=np.float64)  # None becomes NaN
        table = table[np.lexsort((table[:, 1], table[:, 0]))]  # stable: order of reading stays
        cuts = np.flatnonzero(np.any(np.diff(table[:, :2], axis=0) != 0, axis=1)) + 1
        found: dict[int, tuple[dict[str, Array], ...]] = {}
        for block in np.split(table, cuts):
            seq, channel = int(block[0, 0]), int(block[0, 1])
            if channel not in names:
                raise RecordError(f"{self.path} is damaged: channel {channel} has no name.")
            for column, part in enumerate(found.setdefault(seq, ({}, {}, {})), start=2):
                part[names[channel]] = block[:, column].copy()
        return {seq: Readings(*parts) for seq, parts in found.items()}
