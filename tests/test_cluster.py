"""Takes heard on a cluster: the same files, and what is said when a part of it fails.

The scheduler and the workers are those that a user starts; what workers do with a take goes by its
name (faulty_worker.py).
"""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from conftest import COMMAND
from sounding import line, write_midi_take, write_take, write_tempo_map
from test_jobs import states

from batch import __version__
from batch.cluster import Cluster, posts, wire
from batch.cluster import hearing as cluster
from batch.errors import BatchError, LaterError
from batch.folder import LISTENING_VERSION, brief, content_hash
from batch.hearers import Answer, Request
from batch.model import Analysis

pytest.importorskip("distributed", reason="needs takemill[cluster]")

from clustering import PATIENCE_S, Machines, machines, wait_until


@pytest.fixture(scope="module")
def pair(tmp_path_factory) -> Iterator[Machines]:
    """Two workers; the nanny starts one again that dies."""
    with machines(tmp_path_factory.mktemp("pair")) as found, found.joined("--nworkers", 2):
        yield found


@pytest.fixture(scope="module")
def nobody(tmp_path_factory) -> Iterator[Machines]:
    """A scheduler that workers join for a test."""
    with machines(tmp_path_factory.mktemp("nobody")) as found:
        yield found


@pytest.fixture
def gig(tmp_path) -> Path:
    """A folder of takes, quick to hear."""
    folder = tmp_path / "gig"
    folder.mkdir()
    for number in range(4):
        write_midi_take(folder / f"take{number}.mid", line(phrases=5 + number))
    return folder


@contextmanager
def running(*arguments: object) -> Iterator["subprocess.Popen[str]"]:
    """Run the installed command meanwhile."""
    with subprocess.Popen(
        [COMMAND, *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509  no threads here
    ) as run:
        try:
            yield run
        finally:
            run.kill()


def gated(folder: Path, *names: str) -> list[Path]:
    """Write takes that are heard when the test says so; return where who hears them says who it is."""
    takes = {folder / f"gated-{name}.mid": line(phrases=10 + at) for at, name in enumerate(names)}
    return [write_midi_take(path, notes).with_suffix(".pid") for path, notes in takes.items()]


def written(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.suffix != ".sqlite"}


def test_a_cluster_writes_what_one_machine_writes_and_says_no_more(takemill, pair, tmp_path):
    gig = tmp_path / "gig"
    gig.mkdir()
    write_tempo_map(gig / "tempo.mid")
    write_take(gig / "take.flac")
    write_midi_take(gig / "played.mid")
    (gig / "words.wav").write_text("no sound")
    here = takemill("run", gig, "--out", tmp_path / "here")
    there = takemill("run", gig, "--out", tmp_path / "there", "--cluster", pair.address)
    assert there.returncode == here.returncode == 1
    assert there.stderr == here.stderr
    assert sorted(there.stdout.replace("there", "here").splitlines()) == sorted(here.stdout.splitlines())
    assert len(written(tmp_path / "here")) == 2 * 3
    assert written(tmp_path / "there") == written(tmp_path / "here")


def test_a_take_whose_worker_is_killed_is_heard_by_another(pair, gig):
    (pid,) = gated(gig, "one")
    with running("run", gig, "--cluster", pair.address) as run:
        wait_until(lambda: pid.exists() and pid.read_text() != "")
        first = pid.read_text()
        os.kill(int(first), signal.SIGKILL)
        wait_until(lambda: pid.read_text() not in {first, ""})
        pid.with_suffix(".go").touch()
        assert run.communicate(timeout=PATIENCE_S)[1] == ""
        assert run.returncode == 0
    assert states(gig) == ["done"] * 5


def test_a_take_that_kills_every_worker_fails_and_the_others_are_heard(takemill, pair, gig):
    write_midi_take(gig / "deadly-take.mid")
    done = takemill("run", gig, "--cluster", pair.address)
    assert done.returncode == 1
    assert done.stderr.startswith(
        "deadly-take.mid: 3 workers died hearing it, on 127.0.0.1; it is tried again"
    )
    assert len(done.stderr.splitlines()) == 1
    assert len((gig / "deadly-take.deaths").read_text()) == cluster.MOST_DEATHS
    assert sorted(states(gig)) == ["done"] * 4 + ["failed"]


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_stopping_ends_at_once_and_leaves_nothing_to_do_on_the_cluster(pair, gig, how):
    pids = gated(gig, "one", "two", "three")
    with running("run", gig, "--cluster", pair.address) as run:
        wait_until(lambda: sum(pid.exists() for pid in pids) == 2)
        asked = time.monotonic()
        run.send_signal(how)
        said = run.communicate(timeout=PATIENCE_S)
        assert time.monotonic() - asked < 5
    for pid in pids:
        pid.with_suffix(".go").touch()
    assert (run.returncode, said[1]) == (130, "")
    assert sorted(states(gig)) == ["waiting"] * 7
    wait_until(lambda: not pair.has_work())


def asked_of(path: Path) -> Request:
    return Request(brief(path), content_hash(path))


def answers(address: str, *takes: Path) -> tuple[dict[str, Answer], list[str]]:
    """Return what a cluster makes of takes, and what is said meanwhile."""
    found, left, said = {}, list(takes), list[str]()
    with Cluster(address, said.append) as hearers:
        while len(found) < len(takes):
            while left and not hearers.full:
                hearers.begin(asked_of(left.pop(0)))
            request, answer = hearers.wait()
            found[request.asked.path.name] = answer
    return found, said


def test_two_takes_are_in_the_air_for_each_worker(pair, tmp_path):
    request = asked_of(write_midi_take(tmp_path / "take.mid"))
    with Cluster(pair.address, print) as hearers:
        for _ in range(4):
            assert not hearers.full
            hearers.begin(request)
        assert hearers.full
        assert isinstance(hearers.wait()[1], Analysis)
        assert not hearers.full


def test_a_take_over_its_time_ends_its_worker_and_fails(pair, tmp_path, monkeypatch):
    # The worker ends itself after a second, which here is known to be the take's limit too.
    monkeypatch.setattr(cluster, "limit_s", lambda _: 1.0)
    before = pair.workers()
    hanging, good = (write_midi_take(tmp_path / name) for name in ("hanging-take.mid", "good.mid"))
    found, _ = answers(pair.address, hanging, good)
    assert str(found["hanging-take.mid"]).startswith("took longer than 1 s to hear; its worker was ended")
    assert isinstance(found["good.mid"], Analysis)
    wait_until(lambda: len(pair.workers()) == 2 and pair.workers() != before)


def test_a_take_that_its_worker_keeps_is_left_for_later(pair, tmp_path, monkeypatch):
    """A worker may be paused for want of memory, or at the takes of another client."""
    for module in (cluster, posts):
        monkeypatch.setattr(module, "limit_s", lambda _: 0.5)
    (pid,) = gated(tmp_path, "one")
    found, _ = answers(pair.address, pid.with_suffix(".mid"))
    pid.with_suffix(".go").touch()
    assert isinstance(found["gated-one.mid"], LaterError)
    assert str(found["gated-one.mid"]).startswith("127.0.0.1 has not heard it after 1 s; see whether")


def test_a_bug_is_raised_with_where_it_happened(pair, tmp_path):
    with pytest.raises(RuntimeError, match=r"(?s)faulty_worker.py.* in listen.*KeyError.*a mistake of ours"):
        answers(pair.address, write_midi_take(tmp_path / "buggy-take.mid"))


@pytest.mark.parametrize(("how", "said"), [("unseen", "cannot see"), ("other", "sees another file at")])
def test_a_take_that_no_worker_sees_is_left_for_later(pair, tmp_path, how, said):
    take = write_midi_take(tmp_path / f"{how}-take.mid")
    found, others = answers(pair.address, take, write_midi_take(tmp_path / "good.mid"))
    answer = found[take.name]
    assert isinstance(answer, LaterError)
    assert str(answer).startswith(f"{os.uname().nodename} {said} {take}")
    assert str(answer).endswith("; mount the same folder there at the same path; the take waits")
    assert isinstance(found["good.mid"], Analysis)
    assert others == []


def test_a_take_that_one_worker_does_not_see_is_heard_by_another_and_that_is_said(takemill, pair, gig):
    take = write_midi_take(gig / "half-take.mid", line(phrases=3))
    done = takemill("run", gig, "--cluster", pair.address)
    assert done.returncode == 0
    assert done.stderr.startswith(f"takemill: {os.uname().nodename} cannot see {take} (")
    assert len(done.stderr.splitlines()) == 1
    assert states(gig) == ["done"] * 5


def test_workers_of_another_version_are_refused(pair, gig, monkeypatch):
    monkeypatch.setattr(wire, "VERSION", ("0.0.1", 1))
    said = list[str]()
    with (
        pytest.raises(BatchError, match="none of its workers can be used, as was said"),
        Cluster(pair.address, said.append) as hearers,
    ):
        hearers.begin(asked_of(gig / "take0.mid"))
        hearers.wait()
    here = f"takemill {__version__} (listening {LISTENING_VERSION})"
    assert said == [f"{os.uname().nodename} has {here}; install {here} there, it is left out until then"]


def test_a_worker_without_takemill_is_refused(takemill, nobody, gig):
    with nobody.joined("--no-nanny", fault="without"):
        done = takemill("run", gig, "--cluster", nobody.address)
    assert done.returncode == 2
    one, two = done.stderr.splitlines()
    assert one.startswith("takemill: 127.0.0.1 has no takemill; install takemill")
    assert two.startswith(f"takemill: {nobody.address}: none of its workers can be used, as was said; mend")
    assert states(gig) == ["waiting"] * 4


def test_workers_that_join_meanwhile_are_used(nobody, gig):
    with running("run", gig, "--cluster", nobody.address) as run:
        wait_until(lambda: bool(states(gig)))
        with nobody.joined("--no-nanny", "--nthreads", 2, wait=False):
            said = run.communicate(timeout=PATIENCE_S)[1]
        assert run.returncode == 0
    assert said.startswith("takemill: 127.0.0.1: a worker there has 2 threads, but hears one take at a time")
    assert len(said.splitlines()) == 1
    assert states(gig) == ["done"] * 4


def test_a_scheduler_without_workers_is_said(nobody, gig, monkeypatch):
    monkeypatch.setattr(cluster, "NOBODY_S", 0.5)
    with pytest.raises(BatchError, match=r"has had no worker for .* s; start some with dask worker tcp://"):
        answers(nobody.address, gig / "take0.mid")


def test_a_scheduler_that_is_killed_is_said_and_nothing_is_lost(takemill, tmp_path, gig):
    (pid,) = gated(gig, "one")
    with (
        machines(tmp_path) as found,
        found.joined("--no-nanny"),
        running("run", gig, "--cluster", found.address) as run,
    ):
        wait_until(pid.exists)
        found.scheduler.kill()
        said = run.communicate(timeout=PATIENCE_S)[1]
    assert run.returncode == 2
    assert said.startswith(f"takemill: {found.address}: the scheduler went away; start it again")
    assert len(said.splitlines()) == 1
    assert "running" not in states(gig)
    assert takemill("run", gig).returncode == 0
    assert states(gig) == ["done"] * 5


def test_a_scheduler_that_stops_answering_is_said(nobody, gig, monkeypatch):
    monkeypatch.setattr(wire, "ANSWER_S", 0.5)
    with Cluster(nobody.address, print) as hearers:
        hearers.begin(asked_of(gig / "take0.mid"))
        nobody.scheduler.send_signal(signal.SIGSTOP)
        try:
            with pytest.raises(BatchError, match="the scheduler went away"):
                hearers.wait()
        finally:
            nobody.scheduler.send_signal(signal.SIGCONT)


def test_what_says_nothing_is_no_scheduler(gig, monkeypatch):
    monkeypatch.setattr(wire, "CONNECT_S", 0.5)
    with socket.create_server(("127.0.0.1", 0)) as mute:
        address = f"tcp://127.0.0.1:{mute.getsockname()[1]}"
        with pytest.raises(BatchError, match="no scheduler answers there; start"):
            answers(address, gig / "take0.mid")


def test_no_scheduler_is_wrong_use_and_loses_nothing(takemill, gig, monkeypatch):
    done = takemill("run", gig, "--cluster", "tcp://127.0.0.1:1")
    assert done.returncode == 2
    assert done.stderr.startswith("takemill: tcp://127.0.0.1:1: no scheduler answers there; start")
    assert len(done.stderr.splitlines()) == 1
    assert states(gig) == ["waiting"] * 4


def test_what_is_no_scheduler_is_said(pair, gig):
    (worker, *_) = pair.workers()
    with pytest.raises(BatchError, match="is no scheduler but a worker; give the address"):
        answers(worker, gig / "take0.mid")


def test_an_address_that_is_none_is_wrong_use(takemill, gig):
    done = takemill("run", gig, "--cluster", "studio")
    assert (done.returncode, len(done.stderr.splitlines())) == (2, 1)
    assert "--cluster 'studio': is no address of a scheduler; give" in done.stderr


@pytest.mark.parametrize(
    "address", ["", "studio", "tcp://", "tcp://studio:0", "studio:99999", "a b:1", "a:b"]
)
def test_addresses_that_are_none_are_refused(address):
    with pytest.raises(BatchError, match="is no address of a scheduler"):
        wire.check_address(address)


@pytest.mark.parametrize("address", ["studio:8786", "tcp://10.0.0.7:8786", "tls://a.b:1", "tcp://[::1]:8786"])
def test_addresses_are_taken_as_schedulers_say_them(address):
    wire.check_address(address)


def test_a_missing_package_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(BatchError, match=r"pip install 'takemill\[cluster\]'"):
        Cluster("tcp://studio:8786", print)
