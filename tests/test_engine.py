"""What is heard, in which order, how many at a time, and what the catalogue says meanwhile."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from building import analysis_of, take_info

from batch.catalogue import Catalogue
from batch.catalogue_file import open_catalogue
from batch.engine import Engine
from batch.entry import State
from batch.errors import TakeError
from batch.hearers import Answer, Request
from batch.outcome import Did, Outcome
from batch.scan import takes_in
from batch.shelf import Shelf
from exporters import exporters_for


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
    return Engine(catalogue, Shelf(folder / "markers", exporters_for), hearers)


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
