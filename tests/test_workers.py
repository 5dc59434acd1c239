"""Processes that hear takes: their answers, their deaths, their threads."""

import json
import os
import pickle
import signal
import time
from multiprocessing import active_children
from pathlib import Path

import pytest
from building import analysis_of, take_info

from batch.errors import TakeError
from batch.folder import Brief
from batch.hearers import Answer, Listen, Request
from batch.model import Analysis
from batch.settings import HearingSettings, Settings
from batch.workers import Workers

# What the processes do with a take goes by its name. They find these functions by theirs.


def obey(asked: Brief, content_hash: str) -> Analysis:
    match asked.path.stem:
        case "refuse":
            raise TakeError(asked.path, "is a bagpipe", "play another")
        case "bug":
            raise KeyError("a mistake of ours")
        case "exit":
            os._exit(7)
        case "hang":
            time.sleep(3600)
        case name if name.startswith("SIG"):
            os.kill(os.getpid(), signal.Signals[name])
    return analysis_of((), take=take_info(asked.path.name))


def tell_threads(asked: Brief, content_hash: str) -> Analysis:
    import scipy.linalg  # noqa: F401, PLC0415
    from threadpoolctl import threadpool_info  # noqa: PLC0415

    pools = {pool["filepath"]: pool["num_threads"] for pool in threadpool_info()}
    raise TakeError(asked.path, json.dumps(pools), "")


def nothing() -> None:
    """Nothing to prepare."""


def request(name: str) -> Request:
    limit = HearingSettings(time_limit_s=1.0) if name == "hang" else HearingSettings()
    settings = Settings(hearing=limit)
    return Request(
        Brief(Path(f"/takes/{name}.wav"), settings, None, None, None, "recipe", "rendition"), "c0ffee"
    )


def answers(names: list[str], jobs: int = 2, listen: Listen = obey) -> dict[str, Answer]:
    found, left = {}, list(names)
    with Workers(jobs, listen, nothing) as workers:
        while len(found) < len(names):
            while left and not workers.full:
                workers.begin(request(left.pop(0)))
            asked, answer = workers.wait()
            found[asked.asked.path.stem] = answer
    assert not active_children()
    return found


def test_every_take_is_answered_with_its_own_analysis():
    names = [f"take{number}" for number in range(7)]
    found = answers(names, jobs=3)
    assert {name: analysis.take.file for name, analysis in found.items()} == {n: f"{n}.wav" for n in names}


def test_a_take_that_cannot_be_heard_is_said_as_without_processes():
    error = answers(["refuse", "good"])["refuse"]
    assert isinstance(error, TakeError)
    assert (error.path, str(error)) == (Path("/takes/refuse.wav"), "is a bagpipe; play another")


@pytest.mark.parametrize(
    ("death", "said"),
    [("SIGSEGV", "died (SIGSEGV)"), ("SIGKILL", "want of memory"), ("exit", "died (exit status 7)")],
)
def test_a_process_that_dies_fails_the_take_it_died_of_and_no_other(death, said):
    found = answers(["one", death, "two", "three", "four"])
    error = found.pop(death)
    assert isinstance(error, TakeError)
    assert said in error.problem
    assert "tried again" in error.remedy
    assert all(isinstance(answer, Analysis) for answer in found.values())


@pytest.mark.parametrize("jobs", [1, 2])
def test_a_process_that_hangs_fails_its_take_at_the_limit_and_no_other(jobs):
    found = answers(["one", "hang", "two", "three"], jobs=jobs)
    error = found.pop("hang")
    assert isinstance(error, TakeError)
    assert str(error).startswith("took longer than 1 s to hear; cut it up, or raise hearing.time_limit_s")
    assert all(isinstance(answer, Analysis) for answer in found.values())


def test_a_process_that_dies_between_takes_fails_none():
    with Workers(1, obey, nothing) as workers:
        workers.begin(request("one"))
        workers.wait()
        (child,) = active_children()
        child.kill()
        child.join()
        workers.begin(request("two"))
        assert isinstance(workers.wait()[1], Analysis)


def test_a_bug_is_raised_with_where_it_happened():
    with pytest.raises(KeyError, match="a mistake of ours") as caught:
        answers(["bug"])
    assert "in obey" in caught.value.__notes__[0]
    assert not active_children()


def test_no_more_is_taken_on_than_one_for_each_process_and_one_ahead():
    with Workers(2, obey, nothing) as workers:
        for name in ("one", "two", "three"):
            assert not workers.full
            workers.begin(request(name))
        assert workers.full
        assert len(active_children()) == 2
        workers.wait()
        assert not workers.full


def test_each_process_computes_on_one_thread(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    pools = json.loads(answers(["take"], listen=tell_threads)["take"].problem)
    assert pools, "numpy brings a pool of threads"
    assert set(pools.values()) == {1}


def test_what_goes_wrong_travels_between_processes_whole():

    from batch.sound.model import UnknownSoundError  # noqa: PLC0415  brings numpy, whose threads a test above counts

    for kind in (TakeError, UnknownSoundError):
        error = pickle.loads(pickle.dumps(kind(Path("a.wav"), "is odd", "mend it")))
        assert (type(error), error.path, str(error)) == (kind, Path("a.wav"), "is odd; mend it")
