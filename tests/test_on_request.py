"""A take's files on request: when they are written, kept up, carried on under another name, taken away."""

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest
from building import analysis_of, take_info
from exporting import told_extras

import exporters
from batch.catalogue import Catalogue
from batch.catalogue_file import open_catalogue
from batch.engine import Engine
from batch.entry import State
from batch.errors import TakeError
from batch.folder import forget_settings
from batch.hearers import Answer, Request
from batch.names import HTML_MARK
from batch.outcome import Did
from batch.scan import takes_in
from batch.shelf import Shelf
from exporters import files_of

MAIN = (".analysis.json", ".cues.csv", ".markers.mid")


class Ears:
    """Hears one take at a time, and notes which."""

    def __init__(self) -> None:
        self.heard: list[str] = []
        self._begun: list[Request] = []

    @property
    def full(self) -> bool:
        return bool(self._begun)

    def begin(self, request: Request) -> None:
        self._begun.append(request)

    def wait(self) -> tuple[Request, Answer]:
        request = self._begun.pop()
        path = request.asked.path
        self.heard.append(path.name)
        if path.read_text() == "bad":
            return request, TakeError(path, "cannot be heard", "play it again")
        return request, analysis_of((), take=replace(take_info(path.name), content_hash=request.content_hash))


class Desk:
    """A folder of takes, worked on as often as a test wants."""

    def __init__(self, folder: Path, catalogue: Catalogue) -> None:
        self.folder, self.out = folder, folder / "markers"
        self.catalogue, self.ears = catalogue, Ears()

    def put(self, name: str, content: str) -> Path:
        path = self.folder / name
        path.write_text(content)
        return path

    def work(self, *also: str) -> list[tuple[str, Did]]:
        """Bring the folder up to date; return what became of which take."""
        forget_settings()
        engine = Engine(self.catalogue, self.shelf(*also), self.ears)
        return [(o.entry.path.name, o.did) for o in engine.work(engine.expect(takes_in(self.folder)))]

    def shelf(self, *also: str) -> Shelf:
        return Shelf(self.out, partial(files_of, also=also))

    def files(self, name: str) -> set[str]:
        """Return what the files of a take end in."""
        there = (path.name for path in self.out.iterdir())
        return {one.removeprefix(name) for one in there if one.startswith(f"{name}.")}

    def page(self, name: str) -> str:
        """Return what a page says, without its mark: which file, which content."""
        return (self.out / f"{name}.listen.html").read_text().removeprefix(HTML_MARK).strip()

    def content_hash(self, name: str) -> str:
        entry = self.catalogue.get(self.folder / name)
        assert entry
        assert entry.content_hash
        return entry.content_hash


@pytest.fixture
def desk(tmp_path: Path, monkeypatch) -> Iterator[Desk]:
    monkeypatch.setattr("exporters.EXTRAS", told_extras())
    (tmp_path / "markers").mkdir()
    with open_catalogue(tmp_path / "markers", create=True) as catalogue:
        yield Desk(tmp_path, catalogue)


def test_a_known_take_gets_its_page_without_being_heard_again(desk):
    desk.put("solo.wav", "one")
    assert desk.work() == [("solo.wav", Did.HEARD)]
    assert desk.files("solo") == set(MAIN)
    assert desk.work("page") == [("solo.wav", Did.WRITTEN)]
    assert desk.files("solo") == {*MAIN, ".listen.html"}
    assert desk.work("page") == []
    assert desk.work("page", "picture", "notes") == [("solo.wav", Did.WRITTEN)]
    assert desk.files("solo") == {*MAIN, ".listen.html", ".phrases.svg", ".notes.mid"}
    assert desk.ears.heard == ["solo.wav"]


@pytest.mark.parametrize(
    ("said", "suffix"),
    [
        ("[page]\nwrite = true", ".listen.html"),
        ("[picture]\nwrite = true", ".phrases.svg"),
        ("[markers]\nnotes_file = true", ".notes.mid"),
    ],
)
def test_settings_ask_for_it_and_no_take_is_heard_again_for_that(desk, said, suffix):
    desk.put("solo.wav", "one")
    desk.work()
    desk.put("takemill.toml", said)
    assert desk.work() == [("solo.wav", Did.WRITTEN)]
    assert desk.files("solo") == {*MAIN, suffix}
    assert desk.work() == []
    assert desk.ears.heard == ["solo.wav"]


def test_a_page_that_is_there_is_of_the_take_as_it_is(desk):
    desk.put("solo.wav", "one")
    desk.work("page")
    before = desk.page("solo")
    desk.put("solo.wav", "another")
    assert desk.work() == [("solo.wav", Did.HEARD)]
    assert desk.page("solo") == f"solo.wav {desk.content_hash('solo.wav')}" != before


def test_who_deletes_a_page_is_rid_of_it(desk):
    desk.put("solo.wav", "one")
    desk.work("page", "picture")
    (desk.out / "solo.listen.html").unlink()
    assert desk.work() == []
    desk.put("solo.wav", "another")
    desk.work()
    assert desk.files("solo") == {*MAIN, ".phrases.svg"}


def test_a_take_that_comes_later_has_a_page_where_all_takes_have_one(desk):
    desk.put("solo.wav", "one")
    desk.work("page")
    (desk.out / "listen.html").write_text(HTML_MARK)
    desk.put("later.wav", "two")
    desk.work()
    assert desk.files("later") == {*MAIN, ".listen.html"}


def test_a_take_that_comes_later_has_a_page_only_if_that_is_asked_for(desk):
    desk.put("solo.wav", "one")
    desk.work("page")
    (desk.out / "listen.html").write_text("somebody else's")
    desk.put("later.wav", "two")
    desk.work()
    assert desk.files("later") == set(MAIN)
    desk.put("copy.wav", "one")
    desk.work()
    assert desk.files("copy") == set(MAIN)


def test_a_renamed_take_takes_all_its_files_along(desk):
    solo = desk.put("solo.wav", "one")
    desk.put("takemill.toml", "[markers]\nnotes_file = true")
    desk.work("page")
    (desk.folder / "takemill.toml").unlink()
    solo.rename(desk.folder / "renamed.wav")
    assert desk.work() == [("renamed.wav", Did.WRITTEN)]
    assert desk.files("solo") == set()
    assert desk.files("renamed") == {*MAIN, ".listen.html", ".notes.mid"}
    assert desk.page("renamed").startswith("renamed.wav ")
    assert desk.ears.heard == ["solo.wav"]


def test_a_twin_that_arrives_gives_the_page_its_takes_new_name(desk):
    desk.put("solo.wav", "one")
    desk.work("page")
    desk.put("solo.flac", "two")
    assert set(desk.work()) == {("solo.wav", Did.WRITTEN), ("solo.flac", Did.HEARD)}
    assert {path.name for path in desk.out.glob("solo*.html")} == {"solo.wav.listen.html"}
    assert desk.page("solo.wav") == f"solo.wav {desk.content_hash('solo.wav')}"
    assert desk.work("page") == [("solo.flac", Did.WRITTEN)]
    assert desk.page("solo.flac") == f"solo.flac {desk.content_hash('solo.flac')}"


def test_takes_that_swap_their_names_have_pages_of_what_they_are(desk):
    one, two = desk.put("one.wav", "1"), desk.put("two.wav", "2")
    desk.work("page")
    one.rename(desk.folder / "aside")
    two.rename(one)
    (desk.folder / "aside").rename(two)
    desk.work()
    for name in ("one", "two"):
        assert desk.page(name) == f"{name}.wav {desk.content_hash(f'{name}.wav')}"
    assert len(desk.ears.heard) == 2


def test_a_page_that_cannot_be_written_costs_no_other_file_and_is_tried_again_without_hearing(desk):
    desk.put("solo.wav", "one")
    (desk.out / "solo.listen.html").mkdir()
    assert desk.work("page", "picture") == [("solo.wav", Did.PARTLY)]
    assert desk.files("solo") == {*MAIN, ".phrases.svg", ".listen.html"}
    entry = desk.catalogue.get(desk.folder / "solo.wav")
    assert (entry.state, entry.reason) == (State.DONE, None)
    (desk.out / "solo.listen.html").rmdir()
    assert desk.work("page") == [("solo.wav", Did.WRITTEN)]
    assert desk.page("solo").startswith("solo.wav ")
    assert desk.ears.heard == ["solo.wav"]


def test_a_page_left_stale_by_a_full_disk_is_written_later(desk, monkeypatch):
    class Full:
        suffix = ".listen.html"

        def render(self, _: object) -> bytes:
            raise OSError(28, "No space left on device")

    desk.put("solo.wav", "one")
    desk.work("page")
    desk.put("solo.wav", "another")
    with monkeypatch.context() as patch:
        full = replace(exporters.EXTRAS["page"], of_take=lambda _: Full())
        patch.setattr("exporters.EXTRAS", {**exporters.EXTRAS, "page": full})
        assert desk.work() == [("solo.wav", Did.PARTLY)]
        assert desk.files("solo") == {*MAIN, ".listen.html"}
    assert desk.work() == [("solo.wav", Did.WRITTEN)]
    assert desk.page("solo") == f"solo.wav {desk.content_hash('solo.wav')}"
    assert len(desk.ears.heard) == 2


def test_what_stands_in_the_way_of_a_page_is_said_in_one_line(desk):
    desk.put("solo.wav", "one")
    (desk.out / "solo.listen.html").mkdir()
    shelf = Shelf(desk.out, partial(files_of, also=["page"]))
    engine = Engine(desk.catalogue, shelf, desk.ears)
    (outcome,) = engine.work(engine.expect(takes_in(desk.folder)))
    page = desk.out / "solo.listen.html"
    assert outcome.entry.reason == f"{page}: is not by takemill and was left alone; move it away"


def test_a_page_by_somebody_else_is_neither_written_over_nor_taken_away(desk):
    solo = desk.put("solo.wav", "one")
    desk.work()
    theirs = desk.out / "solo.listen.html"
    theirs.write_text("<title>listen</title>")
    desk.put("solo.wav", "another")
    assert desk.work() == [("solo.wav", Did.HEARD)]
    assert desk.work("page") == []  # a file of this name is there
    desk.put("solo.wav", "a third")
    assert desk.work("page") == [("solo.wav", Did.PARTLY)]
    solo.rename(desk.folder / "renamed.wav")
    desk.work()
    assert desk.files("solo") == {".listen.html"}
    assert theirs.read_text() == "<title>listen</title>"


def test_the_analysis_goes_to_disk_last(desk, monkeypatch):
    written = []
    monkeypatch.setattr("batch.shelf.write_whole", lambda path, _: written.append(path.name))
    desk.put("solo.wav", "one")
    desk.work("page", "picture")
    assert len(written) == 5
    assert written[-1] == "solo.analysis.json"


def test_a_take_whose_analysis_cannot_be_written_leaves_no_page(desk):
    desk.put("solo.wav", "one")
    (desk.out / "solo.analysis.json").mkdir()
    assert desk.work("page") == [("solo.wav", Did.LEFT)]
    assert desk.files("solo") == {".analysis.json"}


@pytest.mark.parametrize("suffix", MAIN)
def test_a_main_file_by_somebody_else_is_left_alone_and_the_take_waits(desk, suffix):
    desk.put("solo.wav", "one")
    theirs = desk.out / f"solo{suffix}"
    theirs.write_text("mine")
    shelf = desk.shelf()
    engine = Engine(desk.catalogue, shelf, desk.ears)
    (outcome,) = engine.work(engine.expect(takes_in(desk.folder)))
    said = f"{theirs} is not by takemill and was left alone; move it away"
    assert (outcome.did, outcome.entry.reason) == (Did.LEFT, said)
    assert theirs.read_text() == "mine"
    assert desk.files("solo") == {suffix}
    theirs.unlink()
    assert desk.work() == [("solo.wav", Did.HEARD)]


def test_heard_notes_by_somebody_else_are_left_alone(desk):
    desk.put("solo.wav", "one")
    theirs = desk.out / "solo.notes.mid"
    theirs.write_bytes(b"MThd\0\0\0\6\0\0\0\1\1\xe0MTrk\0\0\0\4\0\xff\x2f\0")
    assert desk.work("notes") == [("solo.wav", Did.PARTLY)]
    assert desk.files("solo") == {*MAIN, ".notes.mid"}
    assert len(theirs.read_bytes()) == 26


def test_what_a_killed_run_left_of_a_take_is_written_over(desk):
    desk.put("solo.wav", "one")
    desk.work()
    (desk.out / "solo.analysis.json").unlink()
    desk.catalogue.forget(desk.folder / "solo.wav")
    assert desk.work() == [("solo.wav", Did.HEARD)]


def test_a_way_that_a_link_leads_astray_is_told_in_full(tmp_path):
    (tmp_path / "real" / "deep").mkdir(parents=True)
    (tmp_path / "takes").mkdir()
    (tmp_path / "takes" / "solo.wav").touch()
    (tmp_path / "out").symlink_to(tmp_path / "real" / "deep")
    recording = tmp_path / "takes" / "solo.wav"
    assert Shelf(tmp_path / "out", files_of).way_to(recording) == recording.as_posix()
    (tmp_path / "same").symlink_to(tmp_path / "takes")
    (tmp_path / "takes" / "markers").mkdir()
    shelf = Shelf(tmp_path / "same" / "markers", files_of)
    assert shelf.way_to(tmp_path / "same" / "solo.wav") == "../solo.wav"
