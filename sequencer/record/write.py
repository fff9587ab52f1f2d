"""Write a run's record, and never say that something is kept before it is on the disk."""

import os
import sqlite3
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Literal, Self

from drivers.roles import Reading
from sequencer.errors import RecordError
from sequencer.record.batch import Batch
from sequencer.record.create import create_record
from sequencer.record.encode import encode_mapping, encode_reply, encode_request
from sequencer.record.files import refuse_finished
from sequencer.record.hold import hold
from sequencer.record.seal import digest
from sequencer.requests import Apply, Reply, Request

BATCH_S = 1.0
"""A second of readings may be lost with the power; more often would cost a disk flush per tick."""

NOT_MINUS = 0.0
"""Added to what goes into a REAL column, it makes a float of an integer and zero of minus zero, as
SQLite does; so the digest of what is written is that of what will be read."""

Role = Literal["read", "settle", "ask", "watch"]
Severity = Literal["note", "warning", "alarm"]


def utc_now() -> str:
    """Return wall time as ISO 8601 text, for labels only."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class RecordWriter:
    """Append to one record.

    Rows wait in memory until `commit`, which writes them in one transaction and flushes it to the
    disk; a commit that fails keeps them waiting, so that it can be tried again. Commits happen by
    themselves when a request or an event ends, before a state is applied, and when more than
    `batch_s` of monotonic time has passed since the last one.

    Attributes
    ----------
    path
        The record's file.
    """

    def __init__(
        self,
        path: Path,
        *,
        batch_s: float = BATCH_S,
        wall: Callable[[], str] = utc_now,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self.path = path
        self._batch_s = batch_s
        self._wall = wall
        self._monotonic = monotonic
        self._held = hold(path)
        try:
            self._batch = Batch(path)
        except BaseException:
            os.close(self._held)
            raise
        self._last_commit = monotonic()
        known = self._batch.connection.execute
        self._channels: dict[str, int] = dict(known("SELECT name, id FROM channels"))
        trials = known("SELECT id, name, settings FROM trials")
        self._trials = {row[0]: (row[1], row[2]) for row in trials}
        self._trial: int | None = None
        self._began = False

    @property
    def acknowledged(self) -> int:
        """How many readings this writer has brought to the disk."""
        return self._batch.acknowledged

    @property
    def head(self) -> str:
        """The running digest of what is on the disk: another one means other rows."""
        return self._batch.head

    @classmethod
    def create(
        cls,
        path: Path,
        *,
        documents: Mapping[str, tuple[str, str]],
        versions: Mapping[str, str],
        options: Mapping[str, object],
        batch_s: float = BATCH_S,
        wall: Callable[[], str] = utc_now,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> Self:
        """Make a new record; there is either a whole one or none.

        Parameters
        ----------
        documents
            By kind (unit, bench, profile) the path and the source text.
        versions
            By name the version of each piece of software.
        options
            What else the run was told; values that JSON can hold.
        batch_s
            Longest monotonic time between commits while readings come in, in seconds.
        wall, monotonic
            Clocks: for labels, and for the batches.

        Raises
        ------
        RecordError
            When the file exists or can't be written.
        """
        create_record(path, documents, versions, options, wall())
        writer = cls(path, batch_s=batch_s, wall=wall, monotonic=monotonic)
        writer._began = True
        return writer

    @classmethod
    def reopen(
        cls,
        path: Path,
        *,
        batch_s: float = BATCH_S,
        wall: Callable[[], str] = utc_now,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> Self:
        """Open an existing record to go on with it or to finish it.

        Raises
        ------
        RecordError
            When it is no record, damaged, from another version, sealed, written by another process
            or can't be written.
        """
        refuse_finished(path)
        return cls(path, batch_s=batch_s, wall=wall, monotonic=monotonic)

    def begin_trial(self, trial_index: int, name: str, settings_json: str) -> None:
        """Begin a trial, or go on with it where the record already holds it.

        Raises
        ------
        RecordError
            When the record holds another trial at this place.
        """
        known = self._trials.get(trial_index)
        if known is not None and known != (name, settings_json):
            raise RecordError(
                f"{self.path} holds the trial {known[0]} with the settings {known[1]} as number "
                f"{trial_index}, but the run wants {name} with {settings_json}. The documents are "
                "not those of the record: start a new run."
            )
        self._begin()
        if known is None:
            self._trials[trial_index] = (name, settings_json)
            self._batch.waiting["trials"].append((trial_index, name, settings_json))
        self._trial = trial_index
        self.commit()

    def begin_request(self, request: Request, at: float) -> int:
        """Store a request made at bench time `at` (s) and return its number.

        An Apply is on the disk before this returns: what was energised is known after a crash.
        """
        if self._trial is None:
            raise RecordError(f"{self.path}: a request came before its trial was begun.")
        self._begin()
        seq = self._add("requests", self._trial, at + NOT_MINUS, encode_request(request))
        if isinstance(request, Apply):
            self.commit()
        return seq

    def add_readings(
        self, seq: int, tick: int, readings: Sequence[Reading], role: Role = "read"
    ) -> None:
        """Store the readings of one tick of request `seq`; `role` says what they were read for."""
        waiting = self._batch.waiting["readings"]
        number = self._batch.next["readings"]
        channels = self._channels
        for reading in readings:
            channel = channels.get(reading.channel) or self._channel(reading.channel)
            value = reading.value
            waiting.append(
                (
                    number,
                    seq,
                    tick,
                    channel,
                    role,
                    reading.asked_at + NOT_MINUS,
                    reading.answered_at + NOT_MINUS,
                    None if value != value else value + NOT_MINUS,  # noqa: PLR0124  # NaN, at half the cost
                    _text(reading.raw),
                    reading.flag,
                )
            )
            number += 1
        self._batch.next["readings"] = number
        if self._monotonic() - self._last_commit > self._batch_s:
            self.commit()

    def end_request(self, seq: int, reply: Reply) -> None:
        """Store the reply to request `seq` and commit."""
        self._batch.waiting["replies"].append((seq, encode_reply(reply)))
        self.commit()

    def event(
        self,
        at: float,
        kind: str,
        severity: Severity,
        text: str,
        detail: Mapping[str, object] | None = None,
    ) -> None:
        """Store an event at bench time `at` (s; NaN where unknown) and commit."""
        when = None if at != at else at + NOT_MINUS  # noqa: PLR0124  # NaN
        told = encode_mapping(detail or {})
        self._add("events", when, self._wall(), kind, severity, _text(text), told)
        self.commit()

    def identities(self, mapping: Mapping[str, str]) -> None:
        """Store what each instrument answered to *IDN? and commit."""
        for instrument, answer in mapping.items():
            self._add("identities", instrument, _text(answer))
        self.commit()

    def options(self, mapping: Mapping[str, object]) -> None:
        """Store what else a run was told, in the place of what was told before; commit."""
        for name, value in mapping.items():
            self._add("options", name, encode_mapping({"": value}))
        self.commit()

    def commit(self) -> None:
        """Bring everything that waits to the disk.

        Raises
        ------
        RecordError
            When the disk is full or fails; what was committed before stays readable, and what
            waits is kept for another try. Or when the file is no longer found by its name: one that
            was deleted takes everything along when it is closed.
        """
        if self._batch.commit():
            self._last_commit = self._monotonic()
            self._refuse_if_gone()

    def _refuse_if_gone(self) -> None:
        """Look whether the record's name still leads to the file that is written."""
        try:
            there, ours = self.path.stat(), os.fstat(self._held)
            same = (there.st_dev, there.st_ino) == (ours.st_dev, ours.st_ino)
            found = "another file stands there"
        except OSError as error:
            same, found = False, error.strerror or str(error)
        if not same:
            raise RecordError(
                f"{self.path} is no longer the file that this run writes: {found}. It was moved or "
                "deleted, or its disk was taken away. If it was moved, all that was read is in it."
            )

    def finish(self, result: str) -> str:
        """Store the result (JSON text), seal the record and return the digest.

        Raises
        ------
        RecordError
            When it can't be written.
        """
        self._end()
        self._add("result", _text(result))
        self._add("moments", "sealed", self._wall())
        self.commit()
        found = digest(self._batch.connection)
        self._add("seal", found)
        self.commit()
        return found

    def close(self, *, ended: bool = True) -> None:
        """Commit, note that the run came to its end unless `ended` is False, and close.

        The file is left without side files, so that it can be copied alone and read from a
        read-only disk.

        Raises
        ------
        RecordError
            When what waits can't be written; the file is closed all the same.
        """
        if not self._batch.is_open:
            return
        try:
            if ended:
                self._end()
            self.commit()
        finally:
            # Where somebody reads it just now, or the disk is full, the side files stay.
            with suppress(sqlite3.Error):
                self._batch.connection.execute("PRAGMA journal_mode = DELETE")
            self._batch.connection.close()
            os.close(self._held)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        try:
            self.close(ended=kind is None)
        except RecordError:
            if kind is None:
                raise  # else what ended the run says more, such as that the bench is safe

    def _begin(self) -> None:
        if not self._began:
            self._began = True
            self._add("moments", "resumed", self._wall())

    def _end(self) -> None:
        if self._began:
            self._began = False
            self._add("moments", "ended", self._wall())

    def _add(self, table: str, *values: float | str | None) -> int:
        return self._batch.add(table, *values)

    def _channel(self, name: str) -> int:
        number = self._add("channels", name)
        self._channels[name] = number
        return number


def _text(text: str) -> str:
    """Return text that SQLite can hold: stray surrogates are spelled out."""
    return text if text.isascii() else text.encode("utf-8", "backslashreplace").decode()
