"""When a session's files are written: sparingly while takes are heard, and what is said of it at the end."""

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
from batch.kept import Keeper
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
        (told,) = gigs.keep([gig])
        assert (told.name, told.takes) == ("gig.session-markers.mid", 3)
        assert len(texts(gig)) == 9
        assert gigs.keep([gig]) == []


def test_what_was_written_while_takes_were_heard_is_said_at_the_end(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        clock = Clock()
        gigs = keeper(catalogue, shelf, clock)
        heard(gig, catalogue, shelf, "a")
        clock.now_s += 5.0
        gigs.keep_up([gig])
        assert texts(gig)
        assert [told.takes for told in gigs.keep([gig])] == [1]


def test_only_analyses_that_are_new_are_read(gig, monkeypatch):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        gigs = keeper(catalogue, shelf, Clock())
        heard(gig, catalogue, shelf, "a")
        gigs.keep([gig])
        (gig / "markers" / "a.analysis.json").unlink()  # its outline is kept
        heard(gig, catalogue, shelf, "b")
        assert [told.takes for told in gigs.keep([gig])] == [2]
        assert "01.02 long dense against-groove" in texts(gig)


def test_a_take_that_is_gone_leaves_the_session(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        gigs = keeper(catalogue, shelf, Clock())
        heard(gig, catalogue, shelf, "a")
        heard(gig, catalogue, shelf, "b")
        gigs.keep([gig])
        (gig / "a.wav").unlink()
        assert [told.takes for told in gigs.keep([gig])] == [1]
        assert texts(gig)[0] == "01 b"


def test_a_take_stays_in_the_session_as_it_was_while_it_waits_for_its_turn_again(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        gigs = keeper(catalogue, shelf, Clock())
        for name in "ab":
            heard(gig, catalogue, shelf, name)
        gigs.keep([gig])
        before = texts(gig)
        catalogue.queue([gig / "a.wav", gig / "b.wav", gig / "new.wav"])
        catalogue.start(gig / "a.wav")
        assert gigs.keep([gig]) == []
        assert texts(gig) == before


def test_a_session_that_cannot_be_written_is_told_in_one_line(gig):
    with open_catalogue(gig / "markers", create=True) as catalogue:
        shelf = Shelf(gig / "markers", files_of)
        heard(gig, catalogue, shelf, "a")
        (gig / "markers" / "gig.session-cues.csv").mkdir()
        with pytest.raises(BatchError, match=r"gig\.session-cues\.csv: is not by takemill"):
            keeper(catalogue, shelf, Clock()).keep([gig])


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
        names = {told.name for told in keeper(catalogue, shelf, Clock()).keep(folders)}
    assert names == {f"{day}-gig.session.session-markers.mid" for day in ("monday", "friday")}
    assert all((out / name).is_file() for name in names)


def test_a_session_is_kept_without_the_libraries_that_takes_are_heard_with():
    heavy = "{'numpy', 'scipy', 'numba', 'soundfile', 'av'}"
    code = f"import sys, batch.gig, exporters; sys.exit(bool({heavy} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False, timeout=60).returncode == 0
