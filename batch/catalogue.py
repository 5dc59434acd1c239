"""What was heard when, kept in one SQLite file beside the marker files: the questions asked of it."""

import json
import os
import sqlite3
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from batch.entry import Entry, Scored, Stamp, State
from batch.names import fold, kinship

_AT_ONCE = 500
"""Values in one question; SQLite took 999 before 3.32."""

CONNECTEDNESS = "connectedness"
"""What takes can be sorted by besides the score and its parts."""

_COLUMNS = (
    "file", "state", "reason", "changed_at", "size", "mtime_ns", "ctime_ns",
    "content_hash", "recipe", "rendition", "name", "title", "recorded_at", "duration_s", "tempo_bpm",
    "phrases", "score", "low", "high", "parts", "why_null", "warnings",
    "connectedness",
)  # fmt: skip
_KEYS = ("folder", "stem_key", "file_key", "name_key")
"""Made from the others, to be asked for."""
_ALL = (*_COLUMNS, *_KEYS)
_PUT = f"REPLACE INTO takes ({', '.join(_ALL)}) VALUES ({', '.join('?' * len(_ALL))})"


_AGAIN = "state IN ('waiting', 'running') AND name IS NOT NULL AND phrases IS NOT NULL"
"""Takes that were done and have their turn again: their files are there, and what was known of them."""


_EACH_FOLDER = """
WITH RECURSIVE each(folder) AS (
    SELECT min(folder) FROM takes
    UNION ALL
    SELECT (SELECT min(folder) FROM takes WHERE folder > each.folder) FROM each WHERE folder IS NOT NULL
)
SELECT folder FROM each WHERE folder IS NOT NULL
"""
"""The index is asked for each next folder, where SELECT DISTINCT would read every take in it."""


class UnreadableRowError(Exception):
    """A row holds what was never written to it."""


class Catalogue:
    """The catalogue of one output folder.

    Paths are stored relative to that folder, so that a folder of takes can move with its
    markers and still be known. Only what lists takes (:meth:`entries`, :meth:`files`, :meth:`scores`)
    takes longer because the catalogue holds more of them.
    """

    def __init__(self, connection: sqlite3.Connection, folder: Path) -> None:
        self._connection = connection
        self._folder = folder

    @property
    def home(self) -> Path:
        """The folder that the output folder lies in, as a rule that of the takes."""
        return self._folder.parent

    def get(self, path: Path) -> Entry | None:
        """Return what is known of the take at ``path``."""
        return next(self._select("WHERE file = ?", self._key(path)), None)

    def with_content(self, content_hash: str, recipe: str) -> list[Entry]:
        """Return takes of this content that were heard by this recipe, whatever is done with them now."""
        return list(self._select("WHERE content_hash = ? AND recipe = ?", content_hash, recipe))

    def named(self, name: str) -> list[Entry]:
        """Return the takes whose files have this name, or one that a disk may take for it."""
        return list(self._select("WHERE name_key = ?", fold(name)))

    def kin(self, path: Path) -> list[Entry]:
        """Return the takes whose names depend on that of ``path``, and on each other's: itself left out."""
        found: dict[Path, Entry] = {}
        asked: set[str] = set()
        fresh = kinship(path)
        while fresh:
            marks = ", ".join("?" * len(fresh))
            where = f"WHERE stem_key IN ({marks}) OR file_key IN ({marks})"
            found |= {entry.path: entry for entry in self._select(where, *fresh, *fresh)}
            asked |= fresh
            fresh = frozenset().union(*map(kinship, found)) - asked
        return [entry for entry in found.values() if entry.path != path]

    def is_empty(self) -> bool:
        """Return whether no take is known."""
        return self._connection.execute("SELECT 1 FROM takes LIMIT 1").fetchone() is None

    def entries(self, *states: State) -> list[Entry]:
        """Return every take, or those in some states, by file name."""
        marks = ", ".join("?" * len(states))
        where = f"WHERE state IN ({marks}) " if states else ""
        return list(self._select(f"{where}ORDER BY file", *states))

    def in_folder(self, folder: Path) -> list[Entry]:
        """Return the takes that lie in ``folder``, by file name."""
        return list(self._select("WHERE folder = ? ORDER BY file", self._key(folder)))

    def folders(self) -> dict[Path, str]:
        """Return the folders that takes lie in, each with what its takes' keys begin with."""
        rows = self._connection.execute(_EACH_FOLDER).fetchall()
        return {self._path(folder): f"{folder}{os.sep}".removeprefix(f".{os.sep}") for (folder,) in rows}

    def files(self, *states: State) -> list[str]:
        """Return the keys of the takes in some states."""
        marks = ", ".join("?" * len(states))
        rows = self._connection.execute(f"SELECT file FROM takes WHERE state IN ({marks})", states).fetchall()
        return [file for (file,) in rows]

    def scores(self, by: str | None = None) -> list[Scored]:
        """Return the score of every take that is done; or what else to sort by, which carries no range.

        That is one part of the score, or :data:`CONNECTEDNESS`. A take that was done before counts while it
        waits for its turn again.
        """
        values: list[str] = []
        if by is None:
            columns, done = "file, score, low, high", "state = 'done'"
        elif by == CONNECTEDNESS:
            columns, done = "file, connectedness, NULL, NULL", "+state = 'done'"
        else:
            columns, done = "file, json_extract(parts, ?), NULL, NULL", "+state = 'done'"
            values = [f'$."{by}"']  # + : read as they lie, not one by one by the index
        sql = " UNION ALL ".join(f"SELECT {columns} FROM takes WHERE {which}" for which in (done, _AGAIN))
        return list(map(Scored._make, self._connection.execute(sql, values * 2).fetchall()))

    def of_files(self, files: Sequence[str]) -> list[Entry]:
        """Return the takes of these keys, in this order."""
        found: dict[str, Entry] = {}
        for first in range(0, len(files), _AT_ONCE):
            some = files[first : first + _AT_ONCE]
            for entry in self._select(f"WHERE file IN ({', '.join('?' * len(some))})", *some):
                found[self._key(entry.path)] = entry
        return [found[file] for file in files]

    def put(self, *entries: Entry) -> None:
        """Store entries, all of them or none."""
        with self._connection:
            self._connection.executemany(_PUT, [self._row(entry) for entry in entries])

    def outlines(self, paths: Collection[Path]) -> dict[Path, tuple[str, bytes]]:
        """Return the outlines kept of some takes, each with what it is an outline of."""
        keys = {self._key(path): path for path in paths}
        files, found = list(keys), {}
        for first in range(0, len(files), _AT_ONCE):
            some = files[first : first + _AT_ONCE]
            sql = f"SELECT file, of, outline FROM outlines WHERE file IN ({', '.join('?' * len(some))})"
            for file, of, outline in self._connection.execute(sql, some):
                found[keys[file]] = (of, outline)
        return found

    def keep_outlines(self, outlines: Iterable[tuple[Path, str, bytes]]) -> None:
        """Keep outlines, each with what it is an outline of."""
        rows = [(self._key(path), of, outline) for path, of, outline in outlines]
        with self._connection:
            self._connection.executemany("REPLACE INTO outlines VALUES (?, ?, ?)", rows)

    def queue(self, paths: Iterable[Path]) -> None:
        """Mark takes as waiting, keeping what is known of them."""
        self._mark(paths, State.WAITING)

    def start(self, path: Path) -> None:
        """Mark a take as being heard."""
        self._mark([path], State.RUNNING)

    def recover(self) -> None:
        """Put takes that a killed run left half-way back in the queue."""
        with self._connection:
            self._connection.execute("UPDATE takes SET state = 'waiting' WHERE state = 'running'")

    def forget_unheard(self) -> None:
        """Drop takes that waited and went before they were ever heard."""
        for entry in list(self._select("WHERE state = 'waiting' AND name IS NULL")):
            if not os.path.lexists(entry.path):
                self.forget(entry.path)

    def replace(self, gone: Path, entry: Entry) -> None:
        """Store an entry for a take that had another path, which is dropped."""
        with self._connection:
            for table in ("takes", "outlines"):
                self._connection.execute(f"DELETE FROM {table} WHERE file = ?", (self._key(gone),))
            self._connection.execute(_PUT, (*self._row(entry),))

    def forget(self, path: Path) -> None:
        """Drop a take that is gone."""
        with self._connection:
            for table in ("takes", "outlines"):
                self._connection.execute(f"DELETE FROM {table} WHERE file = ?", (self._key(path),))

    def sign_in(self, role: str, who: str) -> None:
        """Note who is at work here, for others to read."""
        with self._connection:
            self._connection.execute("REPLACE INTO at_work VALUES (?, ?, ?)", (role, who, _now()))

    def signed_in(self, role: str) -> tuple[str, str] | None:
        """Return who signed in last for ``role``, and when (UTC, ISO 8601)."""
        found = self._connection.execute("SELECT who, since FROM at_work WHERE role = ?", (role,)).fetchone()
        return None if found is None else (found[0], found[1])

    def _mark(self, paths: Iterable[Path], state: State) -> None:
        keys = (*_KEYS[:-1],)
        rows = [(self._key(path), state.value, _now(), *self._keys(path, None)[:-1]) for path in paths]
        with self._connection:
            self._connection.executemany(
                f"INSERT INTO takes (file, state, changed_at, {', '.join(keys)}) VALUES (?, ?, ?, ?, ?, ?)"
                " ON CONFLICT (file) DO UPDATE SET"
                " state = excluded.state, changed_at = excluded.changed_at, reason = NULL",
                rows,
            )

    def _key(self, path: Path) -> str:
        return os.path.relpath(path, self._folder)

    def _path(self, file: str) -> Path:
        return Path(os.path.normpath(self._folder / file))

    def _select(self, where: str, *values: str) -> Iterator[Entry]:
        sql = f"SELECT {', '.join(_COLUMNS)} FROM takes {where}"
        with closing(self._connection.execute(sql, values)) as rows:
            for row in rows:
                yield self._entry(dict(zip(_COLUMNS, row, strict=True)))

    def _entry(self, row: dict[str, Any]) -> Entry:
        size, mtime_ns, ctime_ns = (row.pop(name) for name in ("size", "mtime_ns", "ctime_ns"))
        try:
            return Entry(
                path=self._path(row.pop("file")),
                state=State(row.pop("state")),
                stamp=None if size is None else Stamp(size, mtime_ns, ctime_ns or 0),
                parts=json.loads(row.pop("parts") or "null"),
                warnings=tuple(json.loads(row.pop("warnings") or "[]")),
                **row,
            )
        except (ValueError, TypeError) as error:
            raise UnreadableRowError(str(error)) from error

    def _row(self, entry: Entry) -> tuple[Any, ...]:
        values = {name: getattr(entry, name, None) for name in _COLUMNS}
        values |= {
            "file": self._key(entry.path),
            "state": entry.state.value,
            "changed_at": _now(),
            "size": entry.stamp.size if entry.stamp else None,
            "mtime_ns": entry.stamp.mtime_ns if entry.stamp else None,
            "ctime_ns": entry.stamp.ctime_ns if entry.stamp else None,
            "parts": json.dumps(entry.parts),
            "warnings": json.dumps(entry.warnings),
        }
        return (*(values[name] for name in _COLUMNS), *self._keys(entry.path, entry.name))

    def _keys(self, path: Path, name: str | None) -> tuple[str, str, str, str | None]:
        return self._key(path.parent), fold(path.stem), fold(path.name), None if name is None else fold(name)


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
