"""Make a new record file: whole or not at all, and never in the place of another."""

import os
import sqlite3
from collections.abc import Iterable, Mapping
from contextlib import closing
from pathlib import Path

from sequencer.errors import RecordError
from sequencer.record.chain import Row, link
from sequencer.record.encode import encode_mapping
from sequencer.record.files import SIDE_FILES, side_file
from sequencer.record.schema import CHAIN, script


def create_record(
    path: Path,
    documents: Mapping[str, tuple[str, str]],
    versions: Mapping[str, str],
    options: Mapping[str, object],
    started: str,
) -> None:
    """Make a record of a run that begins at the wall time `started`; as `create_file` otherwise."""
    create_file(
        path,
        {
            "documents": [(kind, *source) for kind, source in documents.items()],
            "versions": list(versions.items()),
            "options": [(name, encode_mapping({"": v})) for name, v in options.items()],
            "moments": [("started", started)],
        },
    )


def create_file(path: Path, first_rows: Mapping[str, Iterable[tuple[str, ...]]]) -> None:
    """Make a record with its first rows (without their `id`).

    The file is made under another name and then linked to its own, which fails if that is taken.

    Raises
    ------
    RecordError
        When the file, or side files of an earlier one, exist, or it can't be written.
    """
    for place in (path, *(side_file(path, suffix) for suffix in SIDE_FILES)):
        if os.path.lexists(place):
            raise _exists(place)
    draft = side_file(path, f".{os.getpid()}.new")
    try:
        draft.unlink(missing_ok=True)
        draft.open("xb").close()  # says why, where SQLite would only say that it can't
        _fill(draft, first_rows)
        os.link(draft, path)
        _flush_folder(path.parent)
    except FileExistsError:
        raise _exists(path) from None
    except (OSError, sqlite3.Error) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise RecordError(
            f"The record {path} can't be written: {reason}. Name a file in a folder that exists "
            "and that you may write to (--record FILE), on a disk with space."
        ) from error
    finally:
        _remove(draft)


def _fill(draft: Path, first_rows: Mapping[str, Iterable[tuple[str, ...]]]) -> None:
    with closing(sqlite3.connect(draft, isolation_level=None)) as connection:
        connection.execute("PRAGMA synchronous = FULL")
        connection.executescript(script())
        numbered: dict[str, list[Row]] = {
            table: [(number, *row) for number, row in enumerate(rows, start=1)]
            for table, rows in first_rows.items()
        }
        numbered[CHAIN] = [(1, *link("", numbered))]
        connection.execute("BEGIN")
        for table, given in numbered.items():
            for row in given:
                marks = ",".join("?" * len(row))
                connection.execute(f"INSERT INTO {table} VALUES ({marks})", row)  # noqa: S608  # our names
        connection.execute("COMMIT")


def _flush_folder(folder: Path) -> None:
    """Bring the new name itself to the disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _remove(draft: Path) -> None:
    for place in (draft, side_file(draft, "-journal")):
        try:
            place.unlink(missing_ok=True)
        except OSError:
            return  # the folder can't be written, so there is no draft either


def _exists(place: Path) -> RecordError:
    return RecordError(
        f"{place} exists already, and a record is never overwritten. Name another file "
        "(--record FILE), or move this one away."
    )
