"""What was heard when, kept in one SQLite file beside the marker files."""

import json
import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from typing import Any

from batch.errors import BatchError
from batch.model import Analysis
from batch.names import absolute

FILE_NAME = "catalogue.sqlite"
SCHEMA_NUMBER = 1
LOCK_WAIT_S = 10.0
"""How long to wait for another process that writes."""

_CREATE = """
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
_CREATE_OUTLINES = """
CREATE TABLE IF NOT EXISTS outlines (file TEXT PRIMARY KEY, of TEXT NOT NULL, outline BLOB NOT NULL)
WITHOUT ROWID;
"""
"""What a session's files need of each take; made again from the analyses where it is gone or out of date."""


class State(StrEnum):
    """Where a take stands."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Stamp:
    """What the file system says of a file; the same stamp means the same content."""

    size: int
    mtime_ns: int

    @classmethod
    def of(cls, path: Path) -> "Stamp":
        """Read the stamp of ``path``; OSError if it is not there."""
        status = path.stat()
        return cls(status.st_size, status.st_mtime_ns)


@dataclass(frozen=True, slots=True)
class Entry:
    """One take in the catalogue. ``path`` is absolute, whatever folder the catalogue moved to."""

    path: Path
    state: State
    reason: str | None = None
    changed_at: str = ""
    stamp: Stamp | None = None
    content_hash: str | None = None
    recipe: str | None = None
    rendition: str | None = None
    name: str | None = None
    title: str | None = None
    recorded_at: str | None = None
    duration_s: float | None = None
    tempo_bpm: float | None = None
    phrases: int | None = None
    score: float | None = None
    low: float | None = None
    high: float | None = None
    parts: dict[str, float | None] | None = None
    why_null: str | None = None
    warnings: tuple[str, ...] = ()


def summarise(entry: Entry, analysis: Analysis) -> Entry:
    """Return ``entry`` as done, with what a ranking needs of its analysis."""
    variety, take = analysis.variety, analysis.take
    return replace(
        entry,
        state=State.DONE,
        reason=None,
        title=take.title,
        recorded_at=take.recorded_at,
        duration_s=take.duration_s,
        tempo_bpm=grid.tempo_bpm if (grid := analysis.measured_on) else None,
        phrases=len(analysis.phrases),
        score=variety.score,
        low=variety.low,
        high=variety.high,
        parts=dict(variety.parts),
        why_null=variety.why_null,
        warnings=analysis.warnings,
    )


class Catalogue:
    """The catalogue of one output folder.

    Paths are stored relative to that folder, so that a folder of takes can move with its
    markers and still be known.
    """

    def __init__(self, connection: sqlite3.Connection, folder: Path) -> None:
        self._connection = connection
        self._folder = folder

    def get(self, path: Path) -> Entry | None:
        """Return what is known of the take at ``path``."""
        return next(self._select("WHERE file = ?", self._key(path)), None)

    def with_content(self, content_hash: str, recipe: str) -> list[Entry]:
        """Return takes of this content that were heard by this recipe, whatever is done with them now."""
        return list(self._select("WHERE content_hash = ? AND recipe = ?", content_hash, recipe))

    def entries(self) -> list[Entry]:
        """Return every take, by file name."""
        return list(self._select("ORDER BY file"))

    def put(self, *entries: Entry) -> None:
        """Store entries, all of them or none."""
        rows = [self._row(entry) for entry in entries]
        marks = ", ".join("?" * len(_COLUMNS))
        with self._connection:
            self._connection.executemany(f"REPLACE INTO takes ({', '.join(_COLUMNS)}) VALUES ({marks})", rows)

    def outlines(self) -> dict[Path, tuple[str, bytes]]:
        """Return the outlines kept, each with what it is an outline of."""
        self._connection.execute(_CREATE_OUTLINES)
        rows = self._connection.execute("SELECT file, of, outline FROM outlines").fetchall()
        return {Path(os.path.normpath(self._folder / file)): (of, outline) for file, of, outline in rows}

    def keep_outlines(self, outlines: Iterable[tuple[Path, str, bytes]]) -> None:
        """Keep outlines, each with what it is an outline of; drop those of takes that were forgotten."""
        rows = [(self._key(path), of, outline) for path, of, outline in outlines]
        with self._connection:
            self._connection.executemany("REPLACE INTO outlines VALUES (?, ?, ?)", rows)
            self._connection.execute("DELETE FROM outlines WHERE file NOT IN (SELECT file FROM takes)")

    def queue(self, paths: Iterable[Path]) -> None:
        """Mark takes as waiting, keeping what is known of them."""
        self._mark(paths, State.WAITING)

    def start(self, path: Path) -> None:
        """Mark a take as being heard."""
        self._mark([path], State.RUNNING)

    def recover(self) -> None:
        """Put takes that a killed run left half-way back in the queue."""
        self._mark([entry.path for entry in self.entries() if entry.state is State.RUNNING], State.WAITING)

    def forget(self, path: Path) -> None:
        """Drop a take that is gone."""
        with self._connection:
            self._connection.execute("DELETE FROM takes WHERE file = ?", (self._key(path),))

    def _mark(self, paths: Iterable[Path], state: State) -> None:
        rows = [(self._key(path), state.value, _now()) for path in paths]
        with self._connection:
            self._connection.executemany(
                "INSERT INTO takes (file, state, changed_at) VALUES (?, ?, ?) ON CONFLICT (file)"
                " DO UPDATE SET state = excluded.state, changed_at = excluded.changed_at",
                rows,
            )

    def _key(self, path: Path) -> str:
        return os.path.relpath(path, self._folder)

    def _select(self, where: str, *values: str) -> Iterator[Entry]:
        with closing(
            self._connection.execute(f"SELECT {', '.join(_COLUMNS)} FROM takes {where}", values)
        ) as rows:
            for row in rows:
                yield self._entry(dict(zip(_COLUMNS, row, strict=True)))

    def _entry(self, row: dict[str, Any]) -> Entry:
        size, mtime_ns = row.pop("size"), row.pop("mtime_ns")
        path = Path(os.path.normpath(self._folder / row.pop("file")))
        return Entry(
            path=path,
            state=State(row.pop("state")),
            stamp=None if size is None else Stamp(size, mtime_ns),
            parts=json.loads(row.pop("parts") or "null"),
            warnings=tuple(json.loads(row.pop("warnings") or "[]")),
            **row,
        )

    def _row(self, entry: Entry) -> tuple[Any, ...]:
        values = {name: getattr(entry, name, None) for name in _COLUMNS}
        values |= {
            "file": self._key(entry.path),
            "state": entry.state.value,
            "changed_at": _now(),
            "size": entry.stamp.size if entry.stamp else None,
            "mtime_ns": entry.stamp.mtime_ns if entry.stamp else None,
            "parts": json.dumps(entry.parts),
            "warnings": json.dumps(entry.warnings),
        }
        return tuple(values[name] for name in _COLUMNS)


_COLUMNS = (
    "file", "state", "reason", "changed_at", "size", "mtime_ns", "content_hash", "recipe", "rendition",
    "name", "title", "recorded_at", "duration_s", "tempo_bpm", "phrases", "score", "low", "high",
    "parts", "why_null", "warnings",
)  # fmt: skip


@contextmanager
def open_catalogue(folder: Path, *, create: bool = False) -> Iterator[Catalogue]:
    """Open the catalogue in ``folder``.

    Raises
    ------
    BatchError
        If there is none (and ``create`` is off), or it is damaged, locked, or newer than
        this version.
    """
    path = folder / FILE_NAME
    if not create and not path.is_file():
        raise BatchError(
            f"{folder}: no catalogue here; name the folder that holds {FILE_NAME}, or run takemill first"
        )
    try:
        with closing(sqlite3.connect(path, timeout=LOCK_WAIT_S)) as connection:
            _prepare(connection, path)
            yield Catalogue(connection, absolute(folder))
    except sqlite3.OperationalError as error:
        raise BatchError(
            f"{path}: cannot be used ({error}); is another takemill writing, or the disk full?"
        ) from error
    except sqlite3.DatabaseError as error:
        raise BatchError(f"{path}: is damaged ({error}); move it away and run takemill again") from error


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    (number,) = connection.execute("PRAGMA user_version").fetchone()
    if number > SCHEMA_NUMBER:
        raise BatchError(f"{path}: was written by a newer takemill (schema {number}); update takemill")
    if number == 0:
        with connection:
            connection.executescript(f"BEGIN; {_CREATE} PRAGMA user_version = {SCHEMA_NUMBER}; COMMIT;")


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
