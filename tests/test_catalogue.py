"""The catalogue as a file: old schemas, newer ones, damage, locks; and made anew from the analyses."""

import shutil
import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from building import analysis_of, take_info

from batch.catalogue import Catalogue
from batch.catalogue_file import FILE_NAME, SCHEMA_NUMBER, DamagedError, open_catalogue, set_aside
from batch.contract import dump_analysis
from batch.entry import Entry, Scored, Stamp, State
from batch.errors import BatchError
from batch.rebuild import rebuild

# The first schema as it was written, word for word.
SCHEMA_1 = """
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
CREATE TABLE outlines (file TEXT PRIMARY KEY, of TEXT NOT NULL, outline BLOB NOT NULL) WITHOUT ROWID;
INSERT INTO takes (file, state, changed_at, name, score, parts, warnings)
    VALUES ('../Solo.wav', 'done', '2026-01-01', 'Solo', 61.5, '{"length": 50.0}', '["w"]'),
           ('../late/b.wav', 'failed', '2026-01-01', NULL, NULL, NULL, NULL);
PRAGMA user_version = 1;
"""


def write(folder: Path, script: str) -> None:
    with closing(sqlite3.connect(folder / FILE_NAME)) as connection:
        connection.executescript(script)


def test_the_first_schema_is_brought_up_to_date_and_loses_nothing(tmp_path):
    out = tmp_path / "markers"
    out.mkdir()
    write(out, SCHEMA_1)
    with open_catalogue(out) as catalogue:
        (solo,) = catalogue.entries(State.DONE)
        assert (solo.path, solo.name, solo.score, solo.parts) == (
            tmp_path / "Solo.wav", "Solo", 61.5, {"length": 50.0},
        )  # fmt: skip
        assert catalogue.kin(tmp_path / "solo.flac") == catalogue.named("SOLO") == [solo]
        assert catalogue.folders() == {tmp_path: "../", tmp_path / "late": "../late/"}
        assert catalogue.scores("length") == [Scored("../Solo.wav", 50.0)]
    with closing(sqlite3.connect(out / FILE_NAME)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (SCHEMA_NUMBER,)
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_the_second_schema_gets_a_place_for_connectedness(tmp_path):
    # What the second schema had is what the third has, less its one column (SQLite 3.35 drops columns).
    with open_catalogue(tmp_path, create=True) as catalogue:
        catalogue.put(Entry(tmp_path / "a.wav", State.DONE, name="a", score=40.0, connectedness=25.0))
    write(tmp_path, "ALTER TABLE takes DROP COLUMN connectedness; PRAGMA user_version = 2;")
    with open_catalogue(tmp_path) as catalogue:
        assert catalogue.scores("connectedness") == [Scored("a.wav", None)]
        (kept,) = catalogue.entries()
        assert (kept.name, kept.score, kept.connectedness) == ("a", 40.0, None)
        catalogue.put(replace(kept, connectedness=75.0))
        assert catalogue.scores("connectedness") == [Scored("a.wav", 75.0)]


def test_a_migration_that_breaks_off_leaves_the_old_catalogue(tmp_path):
    write(tmp_path, f"{SCHEMA_1} CREATE TABLE at_work (no);")
    with pytest.raises(BatchError, match="cannot be used"), open_catalogue(tmp_path):
        pass
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (1,)
        assert len(connection.execute("SELECT * FROM takes").fetchone()) == 21


def test_a_newer_schema_is_refused_and_left_as_it_is(tmp_path):
    write(tmp_path, f"PRAGMA user_version = {SCHEMA_NUMBER + 1};")
    before = (tmp_path / FILE_NAME).read_bytes()
    newer = pytest.raises(BatchError, match="was written by a newer takemill")
    with newer as caught, open_catalogue(tmp_path, create=True, thorough=True):
        pass
    assert not isinstance(caught.value, DamagedError), "it is not to be set aside"
    assert (tmp_path / FILE_NAME).read_bytes() == before


@pytest.mark.parametrize("damage", ["head", "middle", "words"])
def test_damage_is_found_when_the_catalogue_is_looked_through(tmp_path, damage):
    fill(tmp_path, 500)
    path = tmp_path / FILE_NAME
    content = bytearray(path.read_bytes())
    match damage:
        case "head":
            content[:16] = b"\0" * 16
        case "middle":
            content[len(content) // 4 : 3 * len(content) // 4] = b"\xa5" * (len(content) // 2)
        case "words":
            content = bytearray(b"not a catalogue at all" * 100)
    path.write_bytes(content)
    damaged = pytest.raises(DamagedError, match="is damaged")
    with damaged, open_catalogue(tmp_path, create=True, thorough=True):
        pass
    aside = set_aside(tmp_path, datetime(2026, 1, 2, 3, 4, 5))
    assert aside.name == "catalogue.damaged-20260102-030405.sqlite"
    assert aside.read_bytes() == content
    assert not path.exists()


def test_a_catalogue_that_is_locked_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr("batch.catalogue_file.LOCK_WAIT_S", 0.1)
    fill(tmp_path, 1)
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as other:
        other.execute("BEGIN EXCLUSIVE")
        locked = pytest.raises(BatchError, match="is another program writing to it")
        with locked, open_catalogue(tmp_path) as catalogue:
            catalogue.entries()


def test_a_catalogue_is_made_anew_from_the_analyses(tmp_path):
    out = tmp_path / "markers"
    out.mkdir()
    for name, recording, recipe in (
        ("one", "../one.wav", "recipe"),
        ("two.wav", "../late/two.wav", "recipe"),
        ("old", None, None),
    ):
        hashed = replace(take_info(f"{name}.wav"), content_hash=f"hash of {name}")
        info = replace(hashed, recording=recording, recipe=recipe)
        (out / f"{name}.analysis.json").write_bytes(dump_analysis(analysis_of((), take=info)))
    (out / "broken.analysis.json").write_text("{")
    with open_catalogue(out, create=True) as catalogue:
        assert catalogue.is_empty()
        assert rebuild(catalogue, out) == 2
        one, two = sorted(catalogue.entries(), key=lambda entry: entry.name or "")
        assert (one.path, one.name, one.state, one.stamp) == (tmp_path / "one.wav", "one", State.DONE, None)
        assert (two.path, two.name) == (tmp_path / "late" / "two.wav", "two.wav")
        assert catalogue.with_content("hash of one", "recipe") == [one]


def test_takes_whose_names_hang_together_are_found_together(tmp_path):
    with open_catalogue(tmp_path, create=True) as catalogue:
        names = ("solo.wav", "SOLO.flac", "solo.wav.mp3", "late/solo.wav", "other.wav", "solo2.wav")
        catalogue.put(*(Entry(tmp_path / name, State.DONE) for name in names))
        kin = {entry.path.name for entry in catalogue.kin(tmp_path / "Solo.mid")}
        assert kin == {"solo.wav", "SOLO.flac", "solo.wav.mp3"}
        assert catalogue.kin(tmp_path / "solo2.wav") == []


@pytest.mark.parametrize("by", [None, "length", "connectedness"])
def test_a_take_that_was_done_keeps_its_place_while_it_waits_for_its_turn_again(tmp_path, by):
    known = Entry(tmp_path / "a.wav", State.DONE, name="a", phrases=3, score=40.0, parts={"length": 40.0},
                  connectedness=40.0)  # fmt: skip
    with open_catalogue(tmp_path, create=True) as catalogue:
        catalogue.put(known, Entry(tmp_path / "failed.wav", State.FAILED, "is empty", name="failed"))
        catalogue.queue([known.path, tmp_path / "failed.wav", tmp_path / "new.wav"])
        assert [(one.file, one.value) for one in catalogue.scores(by)] == [("a.wav", 40.0)]
        catalogue.start(known.path)
        assert [(one.file, one.value) for one in catalogue.scores(by)] == [("a.wav", 40.0)]
        assert catalogue.files(State.DONE) == []


def test_a_folder_that_moved_with_its_takes_is_still_known(tmp_path):
    gig = tmp_path / "gig"
    (gig / "markers").mkdir(parents=True)
    with open_catalogue(gig / "markers", create=True) as catalogue:
        catalogue.put(Entry(gig / "a.wav", State.DONE, name="a"))
    shutil.move(gig, tmp_path / "archive")
    with open_catalogue(tmp_path / "archive" / "markers") as catalogue:
        assert catalogue.get(tmp_path / "archive" / "a.wav")


def fill(folder: Path, number: int) -> None:
    with open_catalogue(folder, create=True) as catalogue:
        catalogue.put(*(done(folder, n) for n in range(number)))


def done(folder: Path, number: int) -> Entry:
    return Entry(
        folder / f"take{number:06}.wav", State.DONE, stamp=Stamp(number, number), name=f"take{number:06}"
    )


# A question that looks at every take would say SCAN (https://www.sqlite.org/eqp.html).
def test_what_one_more_take_asks_does_not_read_all_takes(tmp_path, monkeypatch):
    fill(tmp_path, 50)
    with open_catalogue(tmp_path) as catalogue:
        plans: list[str] = []
        asked = _Spy(catalogue, plans)
        monkeypatch.setattr(catalogue, "_connection", asked)
        take = done(tmp_path, 7)
        catalogue.get(take.path), catalogue.with_content("x", "y"), catalogue.kin(take.path)
        catalogue.named("take000007"), catalogue.in_folder(tmp_path), catalogue.outlines([take.path])
        catalogue.is_empty()
    assert len(plans) >= 6
    assert [plan for plan in plans if "SCAN" in plan and "LIMIT 1" not in plan] == []


def test_folders_are_told_without_reading_the_takes_in_them(tmp_path, monkeypatch):
    fill(tmp_path, 50)
    with open_catalogue(tmp_path) as catalogue:
        catalogue.put(*(Entry(tmp_path / folder / "a.wav", State.DONE) for folder in ("x", "a b", "x/y")))
        plans: list[str] = []
        monkeypatch.setattr(catalogue, "_connection", _Spy(catalogue, plans))
        assert list(catalogue.folders()) == [tmp_path, *(tmp_path / name for name in ("a b", "x", "x/y"))]
    assert [plan for plan in plans if plan.startswith("SCAN takes")] == []


class _Spy:
    """A connection that notes the plan of each question."""

    def __init__(self, catalogue: Catalogue, plans: list[str]) -> None:
        self._connection, self._plans = catalogue._connection, plans

    def execute(self, sql: str, values: tuple[object, ...] = ()) -> sqlite3.Cursor:
        rows = self._connection.execute(f"EXPLAIN QUERY PLAN {sql}", values)
        self._plans += [f"{row[-1]}: {sql}" for row in rows]
        return self._connection.execute(sql, values)
