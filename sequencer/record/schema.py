"""The tables of a record, and the marks that tell our files from others.

Every table has an integer key `id` that grows in the order of writing. Triggers refuse to change or
remove rows, and to add any once the record is sealed. They keep honest programs honest; against a
person with an editor the digest is there (`seal.py`).
"""

APPLICATION_ID = 0x53524C31
"""The letters SRL1 in the file's header: a number of our own, so that `file` and we know it."""

VERSION = 2
"""The layout of the tables, in the header's user version; raised with each change of the DDL.
Layout 1 had no chain: such a record can be read and judged, but not gone on with."""

CHAINED = 2
"""The first layout that has a chain."""

CHAIN, SEAL = "chain", "seal"

TABLES = (
    "documents",
    "versions",
    "options",
    "moments",
    "identities",
    "trials",
    "channels",
    "requests",
    "readings",
    "replies",
    "events",
    "result",
    CHAIN,
    SEAL,
)
"""All tables; rows are written and digested in this order, so that references exist."""

CONTENT = tuple(table for table in TABLES if table not in (CHAIN, SEAL))
"""The tables that say something about the run; the others say that these are unaltered."""

DDL = """
CREATE TABLE documents (
    id INTEGER PRIMARY KEY, kind TEXT NOT NULL, path TEXT NOT NULL, text TEXT NOT NULL
) STRICT;
CREATE TABLE versions (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL, version TEXT NOT NULL
) STRICT;
CREATE TABLE options (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL, value TEXT NOT NULL  -- JSON
) STRICT;
CREATE TABLE moments (
    id INTEGER PRIMARY KEY,
    what TEXT NOT NULL CHECK (what IN ('started', 'resumed', 'ended', 'sealed')),
    wall TEXT NOT NULL  -- ISO 8601, UTC; a label, never used to compute
) STRICT;
CREATE TABLE identities (
    id INTEGER PRIMARY KEY, instrument TEXT NOT NULL, answer TEXT NOT NULL
) STRICT;
CREATE TABLE trials (
    id INTEGER PRIMARY KEY,  -- the trial's place in the profile, from 0
    name TEXT NOT NULL, settings TEXT NOT NULL  -- JSON
) STRICT;
CREATE TABLE channels (
    id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE
) STRICT;
CREATE TABLE requests (
    id INTEGER PRIMARY KEY,
    trial INTEGER NOT NULL REFERENCES trials (id),
    at REAL NOT NULL,  -- bench time, s
    body TEXT NOT NULL  -- JSON
) STRICT;
CREATE TABLE readings (
    id INTEGER PRIMARY KEY,
    request INTEGER NOT NULL REFERENCES requests (id),
    tick INTEGER NOT NULL,
    channel INTEGER NOT NULL REFERENCES channels (id),
    role TEXT NOT NULL CHECK (role IN ('read', 'settle', 'ask', 'watch')),
    asked_at REAL NOT NULL,  -- bench time, s
    answered_at REAL NOT NULL,  -- bench time, s
    value REAL,  -- SI (temperatures in degrees Celsius); NULL where there was no number
    raw TEXT NOT NULL,  -- as the instrument sent it
    flag TEXT NOT NULL
) STRICT;
CREATE TABLE replies (
    id INTEGER PRIMARY KEY REFERENCES requests (id),
    body TEXT NOT NULL  -- JSON; the rows of a Read stand in readings
) STRICT;
CREATE TABLE events (
    id INTEGER PRIMARY KEY,
    at REAL,  -- bench time, s; NULL where the bench could not be asked
    wall TEXT NOT NULL, kind TEXT NOT NULL, severity TEXT NOT NULL,
    text TEXT NOT NULL, detail TEXT NOT NULL  -- JSON
) STRICT;
CREATE TABLE result (
    id INTEGER PRIMARY KEY, body TEXT NOT NULL  -- JSON
) STRICT;
CREATE TABLE chain (  -- one row for each commit; see chain.py
    id INTEGER PRIMARY KEY,
    rows TEXT NOT NULL,  -- JSON: for each table the spans of row numbers that the commit added
    digest TEXT NOT NULL
) STRICT;
CREATE TABLE seal (
    id INTEGER PRIMARY KEY, digest TEXT NOT NULL
) STRICT;
"""

GUARD_DDL = """
CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} BEGIN
    SELECT RAISE(ABORT, 'a record is append-only');
END;
CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} BEGIN
    SELECT RAISE(ABORT, 'a record is append-only');
END;
CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} BEGIN
    SELECT RAISE(ABORT, 'a record is append-only')
    WHERE EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id);
    SELECT RAISE(ABORT, 'the record is sealed') WHERE EXISTS (SELECT 1 FROM seal);
END;
"""
"""INSERT OR REPLACE deletes without a trigger for DELETE, hence the third."""


def tables_of(version: int) -> tuple[str, ...]:
    """Return the tables of a record of a layout."""
    return tuple(table for table in TABLES if version >= CHAINED or table != CHAIN)


def script() -> str:
    """Return the SQL that makes an empty record."""
    guards = "".join(GUARD_DDL.format(table=table) for table in TABLES)
    marks = f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {VERSION};"
    return f"BEGIN; {DDL} {guards} {marks} COMMIT;"
