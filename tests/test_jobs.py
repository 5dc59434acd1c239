"""Takes heard side by side by the installed command: the same files, and no process left behind."""

import os
import shutil
import signal
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from conftest import COMMAND
from sounding import line, write_midi_take, write_take, write_tempo_map

PATIENCE_S = 60.0

NEEDS_PROC = pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="reads processes from /proc")


@pytest.fixture(scope="module")
def long_takes(tmp_path_factory) -> Path:
    """Return a folder of takes that are heard for a while."""
    folder = tmp_path_factory.mktemp("long")
    for number in range(4):
        write_take(folder / f"take{number}.wav", line(phrases=60 + number))
    return folder


@pytest.fixture
def folder(long_takes, tmp_path) -> Path:
    """Return a folder of the test's own with those takes."""
    return Path(shutil.copytree(long_takes, tmp_path / "gig"))


@contextmanager
def running(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """Run two jobs in a session of its own, as a terminal does, until both are at a take."""
    command = [COMMAND, "run", folder, "--jobs", "2"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    # Tests in the background of a shell ignore Ctrl-C, and what they start would inherit that.
    with subprocess.Popen(
        command,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509  no threads here
        **pipes,
    ) as run:
        try:
            wait_until(lambda: states(folder).count("running") >= 2 and len(hearing(run.pid)) == 2)
            yield run
        finally:
            for pid in in_session(run.pid):
                os.kill(pid, signal.SIGKILL)


def wait_until(so: Callable[[], bool]) -> None:
    end = time.monotonic() + PATIENCE_S
    while not so():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


def states(folder: Path) -> list[str]:
    file = folder / "markers" / "catalogue.sqlite"
    if not file.is_file():
        return []
    with closing(sqlite3.connect(file)) as catalogue:
        try:
            return [state for (state,) in catalogue.execute("SELECT state FROM takes")]
        except sqlite3.OperationalError:  # not made yet
            return []


def in_session(session: int) -> list[int]:
    """Return the processes that live in a session."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue  # it ended meanwhile
            if int(fields[3]) == session and fields[0] != "Z":
                found.append(int(entry.name))
    return found


def hearing(session: int) -> list[int]:
    """Return the processes of a session that hear takes."""
    return [pid for pid in in_session(session) if "spawn_main" in command_of(pid)]


def command_of(pid: int) -> str:
    try:
        return Path(f"/proc/{pid}/cmdline").read_text()
    except OSError:
        return ""


def test_side_by_side_writes_what_one_by_one_writes(takemill, tmp_path):
    write_tempo_map(tmp_path / "tempo.mid")
    for number in range(3):
        write_take(tmp_path / f"take{number}.flac", line(phrases=4 + number))
        write_midi_take(tmp_path / f"played{number}.mid", line(phrases=5 + number))
    (tmp_path / "words.wav").write_text("no sound")
    written = {}
    for jobs in ("1", "3"):
        done = takemill("run", tmp_path, "--out", tmp_path / jobs, "--jobs", jobs)
        assert done.returncode == 1
        assert done.stderr.startswith("words.wav: is no sound file")
        assert len(done.stdout.splitlines()) == 7
        files = (tmp_path / jobs).iterdir()
        written[jobs] = {file.name: file.read_bytes() for file in files if file.suffix != ".sqlite"}
    assert len(written["1"]) == 6 * 3
    assert written["1"] == written["3"]


@pytest.mark.parametrize("jobs", ["0", "-1", "two", "1.5"])
def test_a_number_of_jobs_that_is_none_is_wrong_use(takemill, tmp_path, jobs):
    done = takemill("run", tmp_path, f"--jobs={jobs}")
    assert done.returncode == 2
    assert "allowed is a whole number of 1 or more" in done.stderr


@NEEDS_PROC
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_stopping_ends_every_process_and_says_nothing(takemill, folder, how):
    with running(folder) as run:
        os.killpg(run.pid, how)
        said = run.communicate(timeout=PATIENCE_S)
        assert (run.returncode, said[1]) == (130, "")
        wait_until(lambda: not in_session(run.pid))
    assert "running" not in states(folder)
    assert not list((folder / "markers").glob(".takemill-*"))
    assert takemill("run", folder, "--jobs", 2).returncode == 0
    assert states(folder) == ["done"] * 4


@NEEDS_PROC
def test_a_killed_run_leaves_no_process_behind(takemill, folder):
    with running(folder) as run:
        run.kill()
        run.wait()
        wait_until(lambda: not in_session(run.pid))
    assert takemill("run", folder, "--jobs", 2).returncode == 0
    assert states(folder) == ["done"] * 4


@NEEDS_PROC
def test_a_killed_process_fails_its_take_and_the_others_are_done(takemill, folder):
    with running(folder) as run:
        os.kill(hearing(run.pid)[0], signal.SIGKILL)
        _, said = run.communicate(timeout=PATIENCE_S)
        assert run.returncode == 1
        assert len(said.splitlines()) == 1
        assert ": the process hearing it was killed, perhaps for want of memory; it is tried again" in said
    assert sorted(states(folder)) == ["done"] * 3 + ["failed"]
    assert takemill("run", folder).returncode == 0
    assert states(folder) == ["done"] * 4
