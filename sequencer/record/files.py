"""Open record files: tell ours from others, and read one without changing it.

A record that is being written, or whose writer was killed, has its newest rows in a second file
beside it (`-wal`). Reading must take these in, so SQLite's immutable mode, which would leave them
out, is never used: the file is opened read-only, and where the folder allows no side files a copy
of both is opened instead.
"""

import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

from sequencer.errors import RecordError, RecordSealed
from sequencer.record.schema import APPLICATION_ID, CHAINED, VERSION, tables_of

MAGIC = b"SQLite format 3\x00"
HEADER_BYTES = 100
"""Layout of the header: the SQLite file format, section 1.3, https://sqlite.org/fileformat.html."""

SIDE_FILES = ("-wal", "-journal", "-shm")
COPIED = ("-wal", "-journal")
NEEDS_COPY = ("SQLITE_READONLY", "SQLITE_CANTOPEN")
"""What SQLite says when it would have to write beside a file that it may only read."""

BUSY_S = 5.0
"""How long to wait for another process that writes just now."""


def check_header(path: Path) -> None:
    """Look at a file's first bytes.

    Raises
    ------
    RecordError
        When it can't be read, is no record, is from a newer version, or is truncated.
    """
    if path.exists() and not (path.is_file() or path.is_dir()):  # opening a pipe would wait
        raise RecordError(f"{path} is no record: it is not a regular file. Look for another name.")
    try:
        with path.open("rb") as file:
            header = file.read(HEADER_BYTES)
        size = path.stat().st_size
        wal = side_file(path, "-wal")
        pending = wal.exists() and wal.stat().st_size > 0
    except OSError as error:
        reason = error.strerror or str(error)
        raise RecordError(f"{path}: {reason}; expected a record that can be read.") from None
    if len(header) < HEADER_BYTES or not header.startswith(MAGIC):
        raise RecordError(f"{path} is no record: it is not an SQLite file. Look for another name.")
    if _number(header, 68) != APPLICATION_ID:
        raise RecordError(
            f"{path} is no record of this program: it is an SQLite file with the application id "
            f"{_number(header, 68):#x}, expected {APPLICATION_ID:#x}."
        )
    version = _number(header, 60)
    if version > VERSION:
        raise RecordError(
            f"{path} was written by a newer version of the program (record layout {version}, this "
            f"one knows {VERSION}). Use that version to read it."
        )
    if version < 1:
        raise RecordError(f"{path} has the record layout {version}, expected 1 to {VERSION}.")
    page_bytes = int.from_bytes(header[16:18], "big")
    page_bytes = 65536 if page_bytes == 1 else page_bytes  # how the format spells it
    whole = page_bytes * _number(header, 28)
    if size < whole and not pending:
        raise RecordError(
            f"{path} is truncated: it has {size} bytes of {whole}. Take it from a copy."
        )


def side_file(path: Path, suffix: str) -> Path:
    """Return the file that SQLite keeps beside a database."""
    return path.with_name(path.name + suffix)


def uri(path: Path, mode: str) -> str:
    """Return an SQLite address of a file in a mode: ro, rw, rwc."""
    return f"{path.absolute().as_uri()}?mode={mode}"


def remedy(error: object) -> str:
    """Return what to do about what SQLite says when it can't read or write."""
    name = getattr(error, "sqlite_errorname", "")
    if name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        return "Another program holds it: close that, then try again."
    if name.startswith("SQLITE_CANTOPEN"):
        return "Too many files may be open (ulimit -n), or its folder can't be written."
    return "Free some space or write to another disk."


def damaged(path: Path, error: object) -> RecordError:
    """Return the error for a record whose content can't be read."""
    if getattr(error, "sqlite_errorname", "").startswith(("SQLITE_BUSY", "SQLITE_CANTOPEN")):
        return RecordError(f"{path} can't be read now: {error}. {remedy(error)}")
    return RecordError(
        f"{path} is damaged: {error}. Take it from a copy; what is here can't be trusted."
    )


@contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    """Yield a connection that can only read, after the record was checked.

    Raises
    ------
    RecordError
        When the file is no record, from a newer version, truncated or damaged; SQLite's errors
        inside the context become one, too.
    """
    check_header(path)
    with ExitStack() as stack:
        try:
            yield stack.enter_context(closing(_connect(path, stack)))
        except (sqlite3.Error, UnicodeError) as error:
            raise damaged(path, error) from error


def _connect(path: Path, stack: ExitStack) -> sqlite3.Connection:
    try:
        return _checked(path, uri(path, "ro"))
    except sqlite3.OperationalError as error:
        if not getattr(error, "sqlite_errorname", "").startswith(NEEDS_COPY):
            raise
    folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="record-"))
    copy = Path(shutil.copy(path, folder))
    for suffix in COPIED:
        if side_file(path, suffix).exists():
            shutil.copy(side_file(path, suffix), folder)
    return _checked(path, uri(copy, "rw"))


def _checked(path: Path, address: str) -> sqlite3.Connection:
    connection = sqlite3.connect(address, uri=True, timeout=BUSY_S, isolation_level=None)
    try:
        problem = _problem(connection)
    except BaseException:
        connection.close()
        raise
    if problem:
        connection.close()
        raise damaged(path, problem)
    return connection


def _problem(connection: sqlite3.Connection) -> str:
    """Return what is wrong with the file's content, as far as SQLite can tell; empty if nothing."""
    connection.execute("PRAGMA trusted_schema = OFF")
    query = "SELECT name FROM sqlite_schema WHERE type = 'table'"
    wanted = tables_of(version_of(connection))
    missing = set(wanted).difference(row[0] for row in connection.execute(query))
    if missing:
        return f"it lacks the tables {', '.join(sorted(missing))}"
    problems = [str(row[0]) for row in connection.execute("PRAGMA quick_check(3)")]
    return "" if problems == ["ok"] else "; ".join(problems)


def refuse_finished(path: Path) -> None:
    """Look whether a record can be gone on with.

    Raises
    ------
    RecordError
        When it can't be read, is sealed (`RecordSealed`), or is of a version that kept no chain.
    """
    with opened(path) as connection:
        if connection.execute("SELECT 1 FROM seal").fetchone():
            raise RecordSealed(
                f"{path} is sealed: its run is finished and nothing can be added. Start a new run "
                "with a new record."
            )
        if version_of(connection) < CHAINED:
            raise RecordError(
                f"{path} was made by an older version of the program, without the running digest "
                "that shows what was written before to be unaltered. It can be judged, but "
                "nothing can be added: start a new run with a new record."
            )


def version_of(connection: sqlite3.Connection) -> int:
    """Return the layout of a record."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def _number(header: bytes, offset: int) -> int:
    return int.from_bytes(header[offset : offset + 4], "big")
