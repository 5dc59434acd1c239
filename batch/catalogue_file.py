"""The catalogue as a file: opened, brought to the present schema, refused, or set aside when damaged."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path

from batch.catalogue import Catalogue, UnreadableRowError
from batch.errors import BatchError
from batch.names import absolute, fold

FILE_NAME = "catalogue.sqlite"
SCHEMA_NUMBER = 3
LOCK_WAIT_S = 10.0
"""How long to wait for another process that writes."""

_COMPANION_SUFFIXES = ("-journal", "-wal", "-shm")
"""Files that SQLite keeps beside a database (https://www.sqlite.org/tempfiles.html)."""

_DAMAGE = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB})
"""Result codes that say so (https://www.sqlite.org/rescode.html)."""

_SCHEMA_1 = """
CREATE TABLE takes (
    file TEXT PRIMARY KEY,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'running', 'done', 'failed')),
    reason TEXT,
    changed_at TEXT NOT NULL,
    size INTEGER, mtime_ns INTEGER, content_hash TEXT, recipe TEXT, rendition TEXT, name TEXT,
    title TEXT, recorded_at TEXT, duration_s REAL, tempo_bpm REAL, phrases INTEGER,
    score REAL, low REAL, high REAL, parts TEXT, why_null TEXT, warnings TEXT
) WITHOUT ROWID;
CREATE INDEX takes_by_content ON takes (content_hash);
"""
_TO_SCHEMA_2 = """
ALTER TABLE takes ADD COLUMN ctime_ns INTEGER;
ALTER TABLE takes ADD COLUMN folder TEXT;
ALTER TABLE takes ADD COLUMN stem_key TEXT;
ALTER TABLE takes ADD COLUMN file_key TEXT;
ALTER TABLE takes ADD COLUMN name_key TEXT;
CREATE TABLE IF NOT EXISTS outlines (file TEXT PRIMARY KEY, of TEXT NOT NULL, outline BLOB NOT NULL)
WITHOUT ROWID;
CREATE TABLE at_work (role TEXT PRIMARY KEY, who TEXT NOT NULL, since TEXT NOT NULL) WITHOUT ROWID;
UPDATE takes SET folder = folder_of(file), stem_key = stem_of(file), file_key = name_of(file),
    name_key = folded(name);
CREATE INDEX takes_by_folder ON takes (folder, file);
CREATE INDEX takes_by_stem ON takes (stem_key);
CREATE INDEX takes_by_file ON takes (file_key);
CREATE INDEX takes_by_name ON takes (name_key);
CREATE INDEX takes_by_state ON takes (state, folder, file, score, low, high);
"""
"""Keys to ask for; ``outlines`` is what a session's files need of each take, ``at_work`` who is busy here."""

_TO_SCHEMA_3 = "ALTER TABLE takes ADD COLUMN connectedness REAL;"

_STEPS = (_SCHEMA_1, _TO_SCHEMA_2, _TO_SCHEMA_3)
"""Each leads from the schema of its index to the next."""


QUICK_BYTES = 1 << 24
"""A catalogue up to this size is looked through within a fifth of a second on a slow machine (measured)."""


class DamagedError(BatchError):
    """The catalogue is no longer readable; the analyses beside it hold what it said."""

    def __init__(self, path: Path, found: str) -> None:
        self.problem = f"is damaged ({found})"
        remedy = "takemill run or watch makes it anew from the analyses beside it"
        super().__init__(f"{path}: {self.problem}; {remedy}")


@contextmanager
def open_catalogue(folder: Path, *, create: bool = False, thorough: bool = False) -> Iterator[Catalogue]:
    """Open the catalogue in ``folder``; with ``create`` it is made where there is none.

    With ``thorough`` it is looked through for damage first, unless it is large.

    Raises
    ------
    DamagedError
        If SQLite finds it damaged, now or while it is used.
    BatchError
        If there is none (and ``create`` is off), or it is locked, or newer than this version.
    """
    path = folder / FILE_NAME
    if not create and not path.is_file():
        raise BatchError(
            f"{folder}: nothing was heard here yet; name the folder of your takes, or run takemill first"
        )
    try:
        with closing(sqlite3.connect(path, timeout=LOCK_WAIT_S)) as connection:
            _prepare(connection, path, thorough=thorough)
            yield Catalogue(connection, absolute(folder))
    except UnreadableRowError as error:
        raise DamagedError(path, str(error)) from error
    except sqlite3.OperationalError as error:
        if "decode" in str(error):  # a text that is none: the disk, or somebody, wrote over it
            raise DamagedError(path, str(error)) from error
        raise BatchError(
            f"{path}: cannot be used ({error}); is another program writing to it, or the disk full?"
        ) from error
    except sqlite3.DatabaseError as error:
        if error.sqlite_errorcode not in _DAMAGE:
            raise
        raise DamagedError(path, str(error)) from error


def set_aside(folder: Path, now: datetime) -> Path:
    """Rename a damaged catalogue, and what SQLite keeps beside it, so that it can be looked at later.

    Raises
    ------
    BatchError
        If the folder refuses.
    """
    path = folder / FILE_NAME
    aside = path.with_name(f"{path.stem}.damaged-{now:%Y%m%d-%H%M%S}{path.suffix}")
    try:
        for suffix in _COMPANION_SUFFIXES:
            if os.path.exists(f"{path}{suffix}"):
                Path(f"{path}{suffix}").replace(f"{aside}{suffix}")
        path.replace(aside)
    except OSError as error:
        problem = f"{path}: is damaged and cannot be set aside ({error.strerror})"
        raise BatchError(f"{problem}; move it away and start again") from error
    return aside


def _prepare(connection: sqlite3.Connection, path: Path, *, thorough: bool) -> None:
    (number,) = connection.execute("PRAGMA user_version").fetchone()
    if number > SCHEMA_NUMBER:
        raise BatchError(f"{path}: was written by a newer takemill (schema {number}); update takemill")
    if thorough and path.stat().st_size <= QUICK_BYTES:
        (found,) = connection.execute("PRAGMA quick_check(1)").fetchone()
        if found != "ok":
            raise DamagedError(path, found)
    if number < SCHEMA_NUMBER:
        _migrate(connection, number)


def _migrate(connection: sqlite3.Connection, number: int) -> None:
    """Lead the schema up to the present one, all the way or not at all."""
    connection.create_function("folder_of", 1, lambda file: str(Path(file).parent))
    connection.create_function("stem_of", 1, lambda file: fold(Path(file).stem))
    connection.create_function("name_of", 1, lambda file: fold(Path(file).name))
    connection.create_function("folded", 1, lambda name: None if name is None else fold(name))
    steps = "".join(_STEPS[number:])
    try:
        connection.executescript(f"BEGIN IMMEDIATE; {steps} PRAGMA user_version = {SCHEMA_NUMBER}; COMMIT;")
    except sqlite3.OperationalError:
        connection.rollback()
        (now,) = connection.execute("PRAGMA user_version").fetchone()
        if now != SCHEMA_NUMBER:  # or else another process was first
            raise
