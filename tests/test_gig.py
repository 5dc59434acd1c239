"""When a session's files are written: sparingly while takes are heard, and what is said of it at the end."""

import shutil
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from building import analysis_of, phrases_at, take_info
from reading import markers_by_mido

from batch.catalogue import Catalogue
from batch.catalogue_file import open_catalogue
from batch.entry import Entry, State, summarise
from batch.errors import BatchError
from batch.folder import forget_settings
from batch.gig import Gigs
from batch.kept import Keeper, Written
from batch.settings import Settings
from batch.shelf import Shelf
from exporters import files_of, session_exporters_for


class Clock:
    """A clock that moves on by ``step_s`` each time it is read."""

    def __init__(self) -> None:
        self.now_s, self.step_s = 0.0, 0.0

    def __call__(self) -> float:
        self.now_s += self.step_s
        return self.now_s


@pytest.fixture
def gig(tmp_path: Path) -> Path:
    folder = tmp_path / "gig"
    (folder / "markers").mkdir(parents=True)
    (folder / "takemill.toml").write_text("[session]\nwrite = true\n", encoding="utf-8")
    forget_settings()
    return folder


def heard(gig: Path, catalogue: Catalogue, shelf: Shelf, name: str) -> Entry:
    """Put a take of ten seconds and two phrases into the catalogue and on the shelf."""
    (gig / f"{name}.wav").touch()
    analysis = analysis_of(
        phrases_at([(1.0, 2.0), (3.0, 4.0)]), take=take_info(f"{name}.wav", duration_s=10.0)
    )
    entry = Entry(gig / f"{name}.wav", State.RUNNING, content_hash="c0ffee", recipe="r", name=None)
    shelf.write(entry, Settings(), analysis, name)
    done = summarise(replace(entry, name=name), analysis)
    catalogue.put(done)
    return done


def keeper(catalogue: Catalogue, shelf: Shelf, clock: Clock) -> Keeper:
    return Keeper(Gigs(catalogue, shelf, session_exporters_for).bring_up, clock)


def kept(gigs: Keeper, *folders: Path) -> list[Written]:
    return list(gigs.keep(folders))


def texts(gig: Path) -> list[str]:
    return [text for _, text in markers_by_mido((gig / "markers" / "gig.session-markers.mid").read_bytes())]


def test_files_are_written_anew_only_when_that_costs_a_small_part_of_the_time(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        clock, shelf = Clock(), Shelf(gig / "markers", files_of)
        gigs = keeper(catalogue, shelf, clock)
        heard(gig, catalogue, shelf, "a")
        gigs.keep_up([gig])  # it may be over in a moment
        assert not (gig / "markers" / "gig.session-markers.mid").exists()
        clock.now_s += 5.0
        clock.step_s = 1.0  # each look at the clock is a second later: writing takes one
        gigs.keep_up([gig])
        assert len(texts(gig)) == 3
        heard(gig, catalogue, shelf, "b")
        gigs.keep_up([gig])  # too soon
        assert len(texts(gig)) == 3
        clock.now_s += 10.0
        gigs.keep_up([gig])
        assert len(texts(gig)) == 6
        heard(gig, catalogue, shelf, "c")
        told = [(one.name, one.takes) for one in kept(gigs, gig)]
        assert told == [("gig.session-markers.mid", 3), ("gig.session-cues.csv", 3)]
        assert len(texts(gig)) == 9
        assert kept(gigs, gig) == []


def test_what_was_written_while_takes_were_heard_is_said_at_the_end(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        clock = Clock()
        gigs = keeper(catalogue, shelf, clock)
        heard(gig, catalogue, shelf, "a")
        clock.now_s += 5.0
        gigs.keep_up([gig])
        assert texts(gig)
        assert [told.takes for told in kept(gigs, gig)] == [1, 1]


def test_only_analyses_that_are_new_are_read(gig, monkeypatch):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        gigs = keeper(catalogue, shelf, Clock())
        heard(gig, catalogue, shelf, "a")
        kept(gigs, gig)
        (gig / "markers" / "a.analysis.json").unlink()  # its outline is kept
        heard(gig, catalogue, shelf, "b")
        assert [told.takes for told in kept(gigs, gig)] == [2, 2]
        assert "01.02 long dense against-groove" in texts(gig)


def test_a_take_that_is_gone_leaves_the_session(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        gigs = keeper(catalogue, shelf, Clock())
        heard(gig, catalogue, shelf, "a")
        heard(gig, catalogue, shelf, "b")
        kept(gigs, gig)
        (gig / "a.wav").unlink()
        assert [told.takes for told in kept(gigs, gig)] == [1, 1]
        assert texts(gig)[0] == "01 b"


def test_a_take_stays_in_the_session_as_it_was_while_it_waits_for_its_turn_again(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        gigs = keeper(catalogue, shelf, Clock())
        for name in "ab":
            heard(gig, catalogue, shelf, name)
        kept(gigs, gig)
        before = texts(gig)
        catalogue.queue([gig / "a.wav", gig / "new.wav"])
        catalogue.start(gig / "a.wav")
        assert kept(gigs, gig) == []
        assert texts(gig) == before


def test_a_session_that_cannot_be_written_is_told_in_one_line(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        heard(gig, catalogue, shelf, "a")
        (gig / "markers" / "gig.session-cues.csv").mkdir()
        with pytest.raises(BatchError, match=r"gig\.session-cues\.csv: is not by takemill"):
            kept(keeper(catalogue, shelf, Clock()), gig)


def test_what_was_written_is_told_before_the_trouble_with_another_file(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        heard(gig, catalogue, shelf, "a")
        (gig / "markers" / "gig.session-cues.csv").mkdir()
        told = keeper(catalogue, shelf, Clock()).keep([gig])
        assert next(told).name == "gig.session-markers.mid"
        with pytest.raises(BatchError, match=r"gig\.session-cues\.csv"):
            next(told)


def test_each_file_is_told_and_what_to_know_of_the_takes_once(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        heard(gig, catalogue, shelf, "a")
        (gig / "b.wav").touch()
        catalogue.put(Entry(gig / "b.wav", State.FAILED, "is empty"))
        told = kept(keeper(catalogue, shelf, Clock()), gig)
    assert [(one.name, len(one.remarks)) for one in told] == [
        ("gig.session-markers.mid", 0),
        ("gig.session-cues.csv", 1),
    ]


@pytest.mark.parametrize("worked_on", [True, False])
@pytest.mark.parametrize("folder_stays", [True, False])
def test_a_session_whose_last_take_is_gone_says_that_there_are_none(tmp_path, worked_on, folder_stays):
    out, gig = tmp_path / "markers", tmp_path / "gig"
    out.mkdir()
    gig.mkdir()
    (gig / "takemill.toml").write_text("[session]\nwrite = true\n", encoding="utf-8")
    forget_settings()
    with open_catalogue(out, create=True) as catalogue:
        shelf = Shelf(out, files_of)
        gigs = keeper(catalogue, shelf, Clock())
        heard(gig, catalogue, shelf, "a")
        kept(gigs, gig)
        (gig / "a.wav").unlink()
        if not folder_stays:
            shutil.rmtree(gig)
        forget_settings()
        (out / "gig.session-cues.csv").unlink()
        told = kept(gigs, *([gig] if worked_on else []))
        assert [(one.name, one.takes) for one in told] == [("gig.session-markers.mid", 0)]
        assert markers_by_mido((out / "gig.session-markers.mid").read_bytes()) == []
        assert not (out / "gig.session-cues.csv").exists(), "none is made anew"


def test_a_take_that_is_yet_to_be_heard_leaves_a_session_as_it_was(gig):
    # It may be the one that went, under a new name.
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        gigs = keeper(catalogue, shelf, Clock())
        heard(gig, catalogue, shelf, "a")
        kept(gigs, gig)
        (gig / "a.wav").rename(gig / "b.wav")
        catalogue.queue([gig / "b.wav"])
        assert kept(gigs, gig) == []


def test_the_session_of_a_folder_that_was_renamed_leaves_nothing_under_its_old_name(tmp_path):
    out, old, new = tmp_path / "markers", tmp_path / "old", tmp_path / "new"
    out.mkdir()
    old.mkdir()
    (old / "takemill.toml").write_text("[session]\nwrite = true\n", encoding="utf-8")
    forget_settings()
    with open_catalogue(out, create=True) as catalogue:
        shelf = Shelf(out, files_of)
        gigs = keeper(catalogue, shelf, Clock())
        entry = heard(old, catalogue, shelf, "a")
        kept(gigs, old)
        (out / "older.session-cues.csv").touch()
        old.rename(new)
        forget_settings()
        catalogue.replace(entry.path, replace(entry, path=new / "a.wav"))
        kept(gigs, old, new)
    assert {path.name for path in out.glob("*.session-*")} == {
        "new.session-markers.mid",
        "new.session-cues.csv",
        "older.session-cues.csv",
    }


@pytest.mark.parametrize("folder_stays", [True, False])
def test_a_session_that_moves_into_another_folder_of_that_name_keeps_its_name(tmp_path, folder_stays):
    out, old, new = tmp_path / "markers", tmp_path / "monday" / "gig", tmp_path / "friday" / "gig"
    out.mkdir()
    for folder in (old, new):
        folder.mkdir(parents=True)
        (folder / "takemill.toml").write_text("[session]\nwrite = true\n", encoding="utf-8")
    forget_settings()
    with open_catalogue(out, create=True) as catalogue:
        shelf = Shelf(out, files_of)
        gigs = keeper(catalogue, shelf, Clock())
        entry = heard(old, catalogue, shelf, "a")
        kept(gigs, old)
        (old / "a.wav").rename(new / "a.wav")
        if not folder_stays:
            shutil.rmtree(old)
        catalogue.replace(entry.path, replace(entry, path=new / "a.wav"))
        kept(gigs, old, new)
    assert {path.name for path in out.glob("*.session-*")} == {
        "gig.session-markers.mid",
        "gig.session-cues.csv",
    }
    assert markers_by_mido((out / "gig.session-markers.mid").read_bytes())[0][1] == "01 a"


def test_folders_of_one_name_have_sessions_of_their_own(tmp_path):
    out = tmp_path / "out"
    out.mkdir()
    folders = [tmp_path / "monday" / "gig", tmp_path / "friday" / "gig"]
    with open_catalogue(out, create=True) as catalogue:
        shelf = Shelf(out, files_of)
        for folder in folders:
            folder.mkdir(parents=True)
            (folder / "takemill.toml").write_text("[session]\nwrite = true\n", encoding="utf-8")
            heard(folder, catalogue, shelf, f"take of {folder.parent.name}")
        names = {told.name for told in kept(keeper(catalogue, shelf, Clock()), *folders)}
    endings = ("session-markers.mid", "session-cues.csv")
    assert names == {f"{day}-gig.session.{ending}" for day in ("monday", "friday") for ending in endings}
    assert all((out / name).is_file() for name in names)


def test_a_session_is_kept_without_the_libraries_that_takes_are_heard_with():
    heavy = "{'numpy', 'scipy', 'numba', 'soundfile', 'av'}"
    code = f"import sys, batch.gig, exporters; sys.exit(bool({heavy} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=60).returncode == 0
