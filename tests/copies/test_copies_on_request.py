"""Copies of recordings on request: when they are made, refused, left alone and taken away."""

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import pytest
from test_on_request import MAIN, Desk

import exporters
from batch.catalogue_file import open_catalogue
from batch.engine import Engine
from batch.entry import State
from batch.errors import TakeError, UnfitError
from batch.model import Analysis
from batch.names import MADE_BY
from batch.outcome import Did
from batch.scan import takes_in
from batch.settings import Settings
from exporters import files_of
from exporters.base import Extra


@dataclass
class Copyist:
    """Copies as it is told: plainly, or doing something to the recording meanwhile."""

    ending: str = ".notes.wav"
    meanwhile: str = ""
    copied: int = 0

    @property
    def suffixes(self) -> tuple[str, ...]:
        return (".notes.wav", ".notes.flac")

    def suffix_for(self, recording: str) -> str:
        if self.ending == "none":
            raise ValueError("no ending comes to mind")
        if not recording.endswith(".wav"):
            raise UnfitError("only WAV files hold such things; record one")
        return self.ending

    def copy(self, _: Analysis, recording: Path, copy: BinaryIO) -> None:
        self.copied += 1
        copy.write(recording.read_bytes() + MADE_BY.encode())
        if self.meanwhile == "changes":
            recording.write_text("something else, and longer")
        if self.meanwhile == "changes unseen":
            stamp = recording.stat()
            recording.write_text(recording.read_text().upper())
            os.utime(recording, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
        if self.meanwhile == "goes":
            recording.unlink()
            recording.stat()
        if self.meanwhile == "forgets its mark":
            copy.truncate(3)
        if self.meanwhile == "fails":
            raise TakeError(recording, "has no sound in it", "record it again")
        if self.meanwhile == "crashes":
            raise ZeroDivisionError("division by zero")


@pytest.fixture
def copyist(monkeypatch) -> Copyist:
    made = Copyist()
    monkeypatch.setattr("exporters.EXTRAS", {**exporters.EXTRAS, "notes": Extra(copy_of_take=lambda _: made)})
    return made


@pytest.fixture
def desk(tmp_path: Path, copyist: Copyist) -> Iterator[Desk]:
    (tmp_path / "markers").mkdir()
    with open_catalogue(tmp_path / "markers", create=True) as catalogue:
        yield Desk(tmp_path, catalogue)


def reason_of(desk: Desk, *also: str) -> str:
    """Bring the folder up to date; return the reason why its one take is not."""
    shelf = desk.shelf(*also)
    engine = Engine(desk.catalogue, shelf, desk.ears)
    (outcome,) = engine.work(engine.expect(takes_in(desk.folder)))
    assert outcome.did is Did.PARTLY
    assert outcome.entry.state is State.DONE
    return outcome.entry.reason or ""


def test_a_copy_is_made_of_a_known_take_without_hearing_it_again(desk):
    desk.put("solo.wav", "one")
    desk.work()
    assert desk.work("notes") == [("solo.wav", Did.WRITTEN)]
    assert (desk.out / "solo.notes.wav").read_text() == f"one{MADE_BY}"
    assert desk.work("notes") == []
    assert desk.ears.heard == ["solo.wav"]


def test_a_copy_is_kept_up_and_goes_with_its_take(desk, copyist):
    solo = desk.put("solo.wav", "one")
    desk.work("notes")
    desk.put("solo.wav", "another")
    desk.work()
    assert (desk.out / "solo.notes.wav").read_text() == f"another{MADE_BY}"
    solo.rename(desk.folder / "renamed.wav")
    desk.work()
    assert desk.files("renamed") == {*MAIN, ".notes.wav"}
    assert desk.files("solo") == set()


def test_a_kind_that_cannot_carry_it_has_no_copy_and_nothing_is_wrong(desk):
    desk.put("solo.flac", "one")
    assert desk.work("notes") == [("solo.flac", Did.HEARD)]
    assert desk.files("solo") == set(MAIN)
    assert desk.work("notes") == []


def test_a_copy_in_another_format_takes_the_first_ones_place(desk, copyist):
    desk.put("solo.wav", "one")
    desk.work("notes")
    copyist.ending = ".notes.flac"
    assert desk.work("notes") == [("solo.wav", Did.WRITTEN)]
    assert desk.files("solo") == {*MAIN, ".notes.flac"}


def test_a_recording_that_changed_since_it_was_analysed_is_not_copied(desk, copyist):
    # Of the same size and time, so that only its content tells.
    solo = desk.put("solo.wav", "one")
    desk.work()
    entry, stamp = desk.catalogue.get(solo), solo.stat()
    solo.write_text("two")
    os.utime(solo, ns=(stamp.st_atime_ns, stamp.st_mtime_ns))
    shelf = desk.shelf("notes")
    trouble = shelf.write(entry, Settings(), shelf.read(entry), "solo")
    copy = desk.out / "solo.notes.wav"
    assert trouble == f"{copy}: not written: changed since it was analysed; the next run hears it again"
    assert not copy.exists()
    assert copyist.copied == 0


def test_a_recording_that_changes_while_it_is_copied_leaves_no_copy(desk, copyist):
    desk.put("solo.wav", "one")
    copyist.meanwhile = "changes"
    copy = desk.out / "solo.notes.wav"
    assert reason_of(desk, "notes") == (
        f"{copy}: not written: changed while it was copied; the next run hears it again"
    )
    assert desk.files("solo") == set(MAIN)
    assert not list(desk.out.glob(".takemill-*"))
    copyist.meanwhile = ""
    assert desk.work("notes") == [("solo.wav", Did.HEARD)]
    assert copy.read_text() == f"something else, and longer{MADE_BY}"


def test_a_change_that_only_the_systems_own_time_tells_leaves_no_copy(desk, copyist):
    desk.put("solo.wav", "one")
    copyist.meanwhile = "changes unseen"
    assert "changed while it was copied" in reason_of(desk, "notes")
    assert desk.files("solo") == set(MAIN)


def test_a_copy_that_does_not_show_who_made_it_is_not_written(desk, copyist):
    desk.put("solo.wav", "one")
    copyist.meanwhile = "forgets its mark"
    assert "its exporter does not put 'Made by takemill' near its start or end" in reason_of(desk, "notes")
    assert desk.files("solo") == set(MAIN)


def test_a_recording_that_goes_while_it_is_copied_is_named(desk, copyist):
    solo, copy = desk.put("solo.wav", "one"), desk.out / "solo.notes.wav"
    desk.work()
    copyist.meanwhile = "goes"
    shelf = desk.shelf("notes")
    entry = desk.catalogue.get(solo)
    trouble = shelf.write(entry, Settings(), shelf.read(entry), "solo")
    assert trouble == f"{copy}: not written: {solo} cannot be read (No such file or directory); put it back"


@pytest.mark.parametrize("ending", ["none", ".markers.mid", "/../../away.wav", ""])
def test_a_copier_without_an_ending_of_its_own_costs_its_copy_alone(desk, copyist, ending):
    desk.put("solo.wav", "one")
    copyist.ending = ending
    assert "a copy is not written: its exporter" in reason_of(desk, "notes")
    assert desk.files("solo") == set(MAIN)


def test_what_a_copy_cannot_hold_and_a_fault_of_its_exporter_are_one_line_each(desk, copyist):
    desk.put("solo.wav", "one")
    copy = desk.out / "solo.notes.wav"
    copyist.meanwhile = "fails"
    assert reason_of(desk, "notes") == f"{copy}: not written: has no sound in it; record it again"
    copyist.meanwhile = "crashes"
    said = f"{copy}: not written: its exporter fails (ZeroDivisionError: division by zero; "
    assert reason_of(desk, "notes").startswith(said)
    assert not list(desk.out.glob(".takemill-*"))


@pytest.mark.parametrize("theirs", ["RIFF of somebody else", "", MADE_BY.lower()])
def test_a_file_that_is_not_ours_is_neither_written_over_nor_taken_away(desk, theirs):
    solo = desk.put("solo.wav", "one")
    copy = desk.out / "solo.notes.wav"
    desk.work()
    copy.write_text(theirs)
    desk.put("solo.wav", "another")
    assert reason_of(desk, "notes") == f"{copy}: is not by takemill and was left alone; move it away"
    solo.rename(desk.folder / "renamed.wav")
    desk.work("notes")
    assert copy.read_text() == theirs
    assert desk.files("renamed") == {*MAIN, ".notes.wav"}


def test_a_folder_that_refuses_leaves_the_recording_and_the_copy_as_they_were(desk, copyist, monkeypatch):
    desk.put("solo.wav", "one")
    desk.work("notes")
    desk.put("solo.wav", "another")
    with monkeypatch.context() as patch:

        def refused(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        patch.setattr("batch.shelf.whole", refused)
        copy = desk.out / "solo.notes.wav"
        assert (
            reason_of(desk)
            == f"{copy}: cannot be written (Permission denied); make room or give permission there"
        )
    assert copy.read_text() == f"one{MADE_BY}"
    assert desk.work() == [("solo.wav", Did.WRITTEN)]
    assert copy.read_text() == f"another{MADE_BY}"


def test_the_chosen_files_name_every_ending_a_copy_may_have(copyist):
    assert {".notes.wav", ".notes.flac"} <= set(files_of(Settings(), also=["notes"]).suffixes)
