"""A folder's index: what it lists, when it is written anew, and what it leaves alone."""

import errno
import os
from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from building import analysis_of, phrases_at, take_info
from exporting import told_extras

import exporters
from batch.catalogue import Catalogue
from batch.catalogue_file import open_catalogue
from batch.entry import Entry, State, summarise
from batch.errors import BatchError
from batch.folder import forget_settings
from batch.gallery import Gallery
from batch.gig import Gigs
from batch.model import Variety
from batch.names import HTML_MARK
from batch.outputs import PARTIAL_PREFIX, is_ours
from batch.overview import Overview
from batch.settings import Settings
from batch.shelf import Shelf
from exporters import files_of, overview_exporters_for, session_exporters_for


@pytest.fixture(autouse=True)
def plain_words(monkeypatch):
    monkeypatch.setattr("exporters.EXTRAS", told_extras())
    forget_settings()


@pytest.fixture
def gig(tmp_path: Path) -> Path:
    folder = tmp_path / "gig"
    (folder / "markers").mkdir(parents=True)
    return folder


@pytest.fixture
def catalogue(gig: Path) -> Iterator[Catalogue]:
    with open_catalogue(gig / "markers", create=True) as opened:
        yield opened


def heard(catalogue: Catalogue, take: Path, score: float | None = None, phrases: int = 2) -> Entry:
    """Put a take into the catalogue and on the shelf; its range is the score plus and minus 1."""
    take.parent.mkdir(exist_ok=True)
    take.touch()
    variety = Variety(score, score - 1, score + 1, {}, None) if score else None
    analysis = analysis_of(
        phrases_at([(2.0 * number, 2.0 * number + 1.0) for number in range(phrases)]),
        take=take_info(take.name, duration_s=10.0),
        variety=variety,
    )
    entry = Entry(take, State.RUNNING, content_hash="c0ffee", recipe="r")
    shelf_of(catalogue).write(entry, Settings(), analysis, take.stem)
    done = summarise(replace(entry, name=take.stem), analysis)
    catalogue.put(done)
    return done


def out_of(catalogue: Catalogue) -> Path:
    return catalogue.home / "markers"


def shelf_of(catalogue: Catalogue) -> Shelf:
    return Shelf(out_of(catalogue), files_of)


def gallery(catalogue: Catalogue, *also: str) -> Gallery:
    return Gallery(catalogue, shelf_of(catalogue), partial(overview_exporters_for, also=also))


def brought_up(catalogue: Catalogue, *also: str) -> list[tuple[str, int]]:
    """Bring the index up; return which files changed, and about how many takes they are."""
    written = gallery(catalogue, *also).bring_up([catalogue.home])
    return [(one.name, one.takes) for one in written]


def index(catalogue: Catalogue, name: str = "listen.html") -> list[str]:
    return (out_of(catalogue) / name).read_text().splitlines()


def test_takes_stand_as_they_are_ranked_with_their_files_and_those_that_failed_with_their_reason(
    gig, catalogue
):
    for name, score in (("dull", 10.0), ("wild", 80.0), ("like dull", 11.0), ("short", None)):
        heard(catalogue, gig / f"{name}.wav", score)
    (gig / "broken.wav").touch()
    catalogue.put(Entry(gig / "broken.wav", State.FAILED, "is empty; record it again"))
    assert brought_up(catalogue, "page") == [("listen.html", 4)]
    # By hand: 10 and 11 overlap with 1 more or less, so that both may be second or third.
    main = "{0}.markers.mid {0}.cues.csv {0}.analysis.json"
    assert index(catalogue)[1:] == [
        "folder gig",
        f"../wild.wav 1-1 2 phrases, {main.format('wild')}",
        f"../like dull.wav 2-3 2 phrases, {main.format('like dull')}",
        f"../dull.wav 2-3 2 phrases, {main.format('dull')}",
        f"../short.wav 4-4 2 phrases, {main.format('short')}",
        "broken.wav: is empty; record it again",
        "and 0",
    ]


def test_files_on_request_are_listed_where_they_are(gig, catalogue):
    heard(catalogue, gig / "a.wav")
    (gig / "markers" / "a.listen.html").write_text(HTML_MARK)
    (gig / "markers" / "a.phrases.txt").touch()
    (listed,) = gallery(catalogue).overview().takes
    assert set(listed.files) == {"a.markers.mid", "a.cues.csv", "a.listen.html", "a.analysis.json"}


def test_without_being_asked_for_no_index_is_written(gig, catalogue):
    heard(catalogue, gig / "a.wav")
    assert brought_up(catalogue) == []
    assert not list((gig / "markers").glob("*.html"))


@pytest.mark.parametrize(("section", "name"), [("page", "listen.html"), ("picture", "phrases.svg")])
def test_the_settings_of_a_folder_worked_on_ask_for_it(gig, catalogue, section, name):
    heard(catalogue, gig / "a.wav")
    (gig / "takemill.toml").write_text(f"[{section}]\nwrite = true\n")
    assert brought_up(catalogue) == [(name, 1)]


def test_an_index_that_is_there_is_kept_up_and_written_only_when_it_changes(gig, catalogue):
    heard(catalogue, gig / "a.wav")
    brought_up(catalogue, "page", "picture")
    assert brought_up(catalogue) == []
    heard(catalogue, gig / "b.wav")
    assert brought_up(catalogue) == [("listen.html", 2), ("phrases.svg", 2)]
    (gig / "markers" / "phrases.svg").unlink()  # whoever deletes it is rid of it
    heard(catalogue, gig / "c.wav")
    assert brought_up(catalogue) == [("listen.html", 3)]


@pytest.mark.parametrize(
    "theirs", ["<title>my takemill takes</title>", "", f"{' ' * 70_000}{HTML_MARK}{' ' * 5000}"]
)
def test_an_index_by_somebody_else_is_left_alone_in_one_line_and_the_other_written(gig, catalogue, theirs):
    heard(catalogue, gig / "a.wav")
    (gig / "markers" / "listen.html").write_text(theirs)
    assert brought_up(catalogue) == []  # nobody asked: nothing to say
    with pytest.raises(BatchError, match=r"^[^\n]*listen\.html: is not by takemill[^\n]*$"):
        brought_up(catalogue, "page", "picture")
    assert (gig / "markers" / "listen.html").read_text() == theirs
    assert (gig / "markers" / "phrases.svg").is_file()


def test_a_folder_in_the_place_of_an_index_gets_one_line(gig, catalogue):
    heard(catalogue, gig / "a.wav")
    (gig / "markers" / "listen.html").mkdir()
    with pytest.raises(BatchError, match=r"^[^\n]*listen\.html[^\n]*$"):
        brought_up(catalogue, "page")


def test_a_take_that_is_gone_leaves_the_index_and_its_page_stays(gig, catalogue):
    for name in "ab":
        heard(catalogue, gig / f"{name}.wav")
    (gig / "markers" / "a.listen.html").write_text(HTML_MARK)
    brought_up(catalogue, "page")
    (gig / "a.wav").unlink()
    assert brought_up(catalogue) == [("listen.html", 1)]
    assert [line for line in index(catalogue) if "a.wav" in line] == []
    assert (gig / "markers" / "a.listen.html").is_file()


def test_a_take_stays_in_the_index_as_it_was_while_it_waits_for_its_turn_again(gig, catalogue):
    for name in "ab":
        heard(catalogue, gig / f"{name}.wav", 40.0)
    brought_up(catalogue, "page")
    before = index(catalogue)
    catalogue.queue([gig / "a.wav", gig / "b.wav", gig / "new.wav"])
    assert brought_up(catalogue) == []
    catalogue.start(gig / "a.wav")
    assert brought_up(catalogue) == []
    assert index(catalogue) == before


def test_with_no_take_left_the_index_says_so(gig, catalogue):
    heard(catalogue, gig / "a.wav")
    catalogue.put(Entry(gig / "broken.wav", State.FAILED, "is empty"))  # its recording is gone too
    brought_up(catalogue, "page")
    (gig / "a.wav").unlink()
    assert brought_up(catalogue) == [("listen.html", 0)]
    assert index(catalogue)[1:] == ["folder gig", "and 0"]


def test_more_takes_than_fit_are_counted(gig, catalogue):
    for number in range(5):
        heard(catalogue, gig / f"{number}.wav", 20.0 + number)
    overview = gallery(catalogue).overview(most=2)
    assert [listed.entry.name for listed in overview.takes] == ["4", "3"]
    assert overview.more == 3


def test_outlines_are_shared_with_the_session_and_analyses_read_once(gig, catalogue):
    (gig / "takemill.toml").write_text("[session]\nwrite = true\n")
    for name in "ab":
        heard(catalogue, gig / f"{name}.wav", phrases=3)
    list(Gigs(catalogue, shelf_of(catalogue), session_exporters_for).bring_up([gig]))
    (gig / "markers" / "a.analysis.json").unlink()  # its outline is kept
    heard(catalogue, gig / "c.wav", phrases=5)
    (gig / "markers" / "c.analysis.json").unlink()  # before anybody looked
    found = {listed.entry.name: listed.outline for listed in gallery(catalogue).overview().takes}
    assert {name: outline and len(outline.phrases) for name, outline in found.items()} == {
        "a": 3,
        "b": 3,
        "c": None,
    }


def test_what_lies_in_the_folder_is_looked_up_in_one_go(gig, catalogue, monkeypatch):
    def looks() -> int:
        """Return how often the system is asked for a file."""
        asked = []
        stat = os.stat
        with monkeypatch.context() as patch:
            patch.setattr(os, "stat", lambda *args, **more: (asked.append(args), stat(*args, **more))[1])
            gallery(catalogue).overview()
        return len(asked)

    heard(catalogue, gig / "a.wav")
    gallery(catalogue).overview()  # keeps its outline
    before = looks()
    for number in range(10):
        heard(catalogue, gig / f"{number}.wav")
    gallery(catalogue).overview()
    assert looks() == before


def test_a_disk_that_is_full_leaves_the_index_as_it_was(gig, catalogue, monkeypatch):
    heard(catalogue, gig / "a.wav")
    brought_up(catalogue, "page")
    before = index(catalogue)
    heard(catalogue, gig / "b.wav")

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patch, pytest.raises(BatchError, match=r"listen\.html: .*No space left"):
        patch.setattr(os, "fsync", full)
        brought_up(catalogue)
    assert index(catalogue) == before
    assert not list((gig / "markers").glob(f"{PARTIAL_PREFIX}*"))
    assert brought_up(catalogue) == [("listen.html", 2)]


def test_the_title_is_the_name_of_the_folder_that_all_takes_lie_in(gig, catalogue):
    heard(catalogue, gig / "one" / "a.wav")
    assert gallery(catalogue).overview().title == "one"
    heard(catalogue, gig / "two" / "b.wav")
    assert gallery(catalogue).overview().title == "gig"


@pytest.mark.parametrize("name", ["page", "picture"])
def test_what_is_written_on_request_bears_the_mark_by_which_it_is_known(tmp_path, monkeypatch, name):
    monkeypatch.undo()  # those that are shipped
    take = replace(take_info("a.wav", duration_s=10.0), title="<a> & 'b'")
    analysis = analysis_of(phrases_at([(1.0, 2.0), (3.0, 4.0)]), take=take)
    of_take, (of_takes,) = exporters.EXTRAS[name].of_take(Settings()), exporters.EXTRAS[name].of_takes
    mine, all_of_them = tmp_path / f"a{of_take.suffix}", tmp_path / of_takes.file_name
    mine.write_bytes(of_take.render(analysis))
    assert is_ours(mine)
    all_of_them.write_bytes(of_takes.render(Overview("t", (), ())))
    assert is_ours(all_of_them)
