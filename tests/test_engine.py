"""What is heard, in which order, how many at a time, and what the catalogue says meanwhile."""

import os
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from building import analysis_of, take_info

from batch.catalogue import Catalogue
from batch.catalogue_file import open_catalogue
from batch.contract import parse_analysis
from batch.engine import Engine
from batch.entry import State
from batch.errors import TakeError
from batch.hearers import Answer, Request
from batch.lookup import is_there
from batch.outcome import Did, Outcome
from batch.scan import takes_in
from batch.shelf import Shelf
from exporters import files_of


class Several:
    """Takes on a few at a time and answers the last first; refuses content that says so."""

    def __init__(self, at_once: int) -> None:
        self.at_once = at_once
        self.begun: list[Request] = []
        self.heard: list[str] = []

    @property
    def full(self) -> bool:
        return len(self.begun) >= self.at_once

    def begin(self, request: Request) -> None:
        assert not self.full
        self.begun.append(request)

    def wait(self) -> tuple[Request, Answer]:
        request = self.begun.pop()
        path = request.asked.path
        self.heard.append(path.name)
        if path.read_text().startswith("bad"):
            return request, TakeError(path, "cannot be heard", "play it again")
        found = analysis_of((), take=take_info(path.name))
        return request, replace_hash(found, request.content_hash)


def replace_hash(found, content_hash):
    return replace(found, take=replace(found.take, content_hash=content_hash))


@pytest.fixture
def catalogue(tmp_path) -> Iterator[Catalogue]:
    (tmp_path / "markers").mkdir()
    with open_catalogue(tmp_path / "markers", create=True) as opened:
        yield opened


def engine_of(catalogue: Catalogue, folder: Path, hearers: Several) -> Engine:
    return Engine(catalogue, Shelf(folder / "markers", files_of), hearers)


def worked(engine: Engine, takes: list[Path]) -> Iterator[Outcome]:
    return engine.work(engine.expect(takes))


def put(folder: Path, *contents: str) -> list[Path]:
    """Write a file for each content; what is in it matters to nobody but ``Several``."""
    for number, content in enumerate(contents):
        (folder / f"take{number:02}.wav").write_text(content)
    return takes_in(folder)


def test_a_full_folder_is_not_begun_all_at_once(tmp_path, catalogue):
    takes = put(tmp_path, *(f"take {number}" for number in range(12)))
    engine = engine_of(catalogue, tmp_path, Several(3))
    done = 0
    for outcome in engine.work(engine.expect(takes)):
        assert outcome.did is Did.HEARD
        done += 1
        states = [entry.state for entry in catalogue.entries()]
        assert states.count(State.DONE) == done
        assert states.count(State.RUNNING) == len(engine.hearers.begun) <= 3
        assert states.count(State.WAITING) == 12 - done - len(engine.hearers.begun)
    assert done == 12


def test_takes_of_one_content_are_heard_once_though_all_are_there_at_once(tmp_path, catalogue):
    takes = put(tmp_path, "the same", "other", "the same", "the same", "another")
    engine = engine_of(catalogue, tmp_path, Several(5))
    did = {outcome.entry.path.name: outcome.did for outcome in engine.work(engine.expect(takes))}
    assert sorted(engine.hearers.heard) == ["take00.wav", "take01.wav", "take04.wav"]
    again = {name for name, what in did.items() if what is Did.WRITTEN}
    assert again == {"take02.wav", "take03.wav"}
    assert {entry.state for entry in catalogue.entries()} == {State.DONE}


def test_takes_of_one_content_that_fails_each_get_their_line(tmp_path, catalogue):
    takes = put(tmp_path, "bad", "bad", "good", "bad")
    outcomes = list(worked(engine_of(catalogue, tmp_path, Several(2)), takes))
    failed = {o.entry.path.name: o.entry.reason for o in outcomes if o.did is Did.FAILED}
    assert failed == dict.fromkeys(
        ("take00.wav", "take01.wav", "take03.wav"), "cannot be heard; play it again"
    )
    assert [o.entry.path.name for o in outcomes if o.did is Did.HEARD] == ["take02.wav"]


def test_takes_that_were_being_heard_wait_again_when_the_work_is_broken_off(tmp_path, catalogue):
    takes = put(tmp_path, *(f"take {number}" for number in range(6)))
    engine = engine_of(catalogue, tmp_path, Several(3))
    with closing(engine.work(engine.expect(takes))) as outcomes:
        next(outcomes)
        assert sum(entry.state is State.RUNNING for entry in catalogue.entries()) == 2
    states = [entry.state for entry in catalogue.entries()]
    assert (states.count(State.DONE), states.count(State.WAITING)) == (1, 5)


def test_a_bug_in_the_hearing_is_raised_and_loses_nothing(tmp_path, catalogue):
    class Buggy(Several):
        def wait(self) -> tuple[Request, Answer]:
            raise ZeroDivisionError

    takes = put(tmp_path, "one", "two", "three")
    with pytest.raises(ZeroDivisionError):
        list(engine_of(catalogue, tmp_path, Buggy(2)).work(takes))
    assert {entry.state for entry in catalogue.entries()} == {State.WAITING}


def contents(folder: Path) -> dict[str, str]:
    """Return which content each take's analysis is of."""
    found = {}
    for path in (folder / "markers").glob("*.analysis.json"):
        found[path.name.removesuffix(".analysis.json")] = parse_analysis(
            path.read_bytes(), path
        ).take.content_hash
    return found


def test_takes_of_one_size_and_time_that_swap_their_names_swap_their_files(tmp_path, catalogue):
    # As recorders write two tracks: of one length, closed in the same second.
    one, two = put(tmp_path, "take 1", "take 2")
    for take in (one, two):
        os.utime(take, (1_700_000_000, 1_700_000_000))
    engine = engine_of(catalogue, tmp_path, Several(1))
    list(worked(engine, [one, two]))
    before = contents(tmp_path)
    one.rename(tmp_path / "aside")
    two.rename(one)
    (tmp_path / "aside").rename(two)
    assert {outcome.did for outcome in worked(engine, [one, two])} == {Did.WRITTEN}
    assert contents(tmp_path) == {"take00": before["take01"], "take01": before["take00"]}
    assert len(engine.hearers.heard) == 2


def test_a_take_renamed_while_it_is_heard_is_heard_once(tmp_path, catalogue):
    class Renaming(Several):
        def wait(self) -> tuple[Request, Answer]:
            answer = super().wait()
            (tmp_path / "take00.wav").rename(tmp_path / "renamed.wav")
            return answer

    engine = engine_of(catalogue, tmp_path, Renaming(1))
    assert [outcome.did for outcome in worked(engine, put(tmp_path, "take"))] == [Did.GONE]
    later = Engine(catalogue, engine.shelf, engine.hearers, engine.spare)
    assert [outcome.did for outcome in worked(later, takes_in(tmp_path))] == [Did.WRITTEN]
    assert list(contents(tmp_path)) == ["renamed"]


def test_a_take_that_was_only_touched_is_not_written_again(tmp_path, catalogue):
    takes = put(tmp_path, "take")
    engine = engine_of(catalogue, tmp_path, Several(1))
    list(worked(engine, takes))
    written = (tmp_path / "markers" / "take00.cues.csv").stat().st_mtime_ns
    os.utime(takes[0], (1, 1))
    assert [outcome.did for outcome in worked(engine, takes)] == [Did.KNOWN]
    assert engine.expect(takes) == []
    assert (tmp_path / "markers" / "take00.cues.csv").stat().st_mtime_ns == written


def test_of_two_takes_of_one_content_the_renamed_one_leaves_nothing_behind(tmp_path, catalogue):
    takes = put(tmp_path, "the same", "the same")
    engine = engine_of(catalogue, tmp_path, Several(1))
    list(worked(engine, takes))
    takes[1].rename(tmp_path / "renamed.wav")
    list(worked(engine, takes_in(tmp_path)))
    assert set(contents(tmp_path)) == {"take00", "renamed"}


def test_names_of_many_takes_that_share_one_are_worked_out_once(tmp_path, catalogue, monkeypatch):
    takes = [tmp_path / f"gig{number}" / "audio.wav" for number in range(20)]
    for number, take in enumerate(takes):
        take.parent.mkdir()
        take.write_text(f"take {number}")
    asked: list[Path] = []
    kin = Catalogue.kin
    monkeypatch.setattr(Catalogue, "kin", lambda self, path: (asked.append(path), kin(self, path))[1])
    list(worked(engine_of(catalogue, tmp_path, Several(3)), takes))
    assert set(contents(tmp_path)) == {f"gig{number}-audio.wav" for number in range(20)}
    assert len(asked) == 1


def test_takes_of_a_folder_that_was_deleted_are_gone_but_not_those_of_a_disk_out_of_reach(
    tmp_path, catalogue
):
    assert catalogue.home == tmp_path
    assert not is_there(tmp_path / "deleted" / "take.wav", catalogue.home)
    assert is_there(tmp_path.parent / "disk" / "take.wav", catalogue.home)
    there = put(tmp_path, "take")[0]
    assert is_there(there, catalogue.home)
    assert not is_there(there.with_name("other.wav"), catalogue.home)
