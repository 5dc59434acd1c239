"""Files are whole or not there: what POSIX says of rename, seen from a reader's side."""

import os
import threading
from pathlib import Path

import pytest

from batch.outputs import PARTIAL_PREFIX, sweep_partials, write_whole


def left_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.parametrize("content", [b"", b"one", bytes(range(256)) * 10_000])
def test_what_is_written_is_there_and_nothing_else(tmp_path, content):
    write_whole(tmp_path / "a.csv", content)
    assert (tmp_path / "a.csv").read_bytes() == content
    assert left_in(tmp_path) == ["a.csv"]


def test_an_old_file_is_replaced(tmp_path):
    path = tmp_path / "a.csv"
    path.write_bytes(b"a longer old file")
    write_whole(path, b"new")
    assert path.read_bytes() == b"new"


@pytest.mark.parametrize("broken", ["fsync", "replace"])
@pytest.mark.parametrize("failure", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_write_that_fails_leaves_the_old_file_and_no_partial(tmp_path, monkeypatch, broken, failure):
    def fail(*_: object) -> None:
        raise failure

    path = tmp_path / "a.csv"
    path.write_bytes(b"old")
    monkeypatch.setattr(*{"fsync": (os, "fsync"), "replace": (Path, "replace")}[broken], fail)
    with pytest.raises(type(failure)):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert left_in(tmp_path) == ["a.csv"]


def test_the_bytes_are_on_disk_before_the_file_has_its_name(tmp_path, monkeypatch):
    seen = []
    fsync = os.fsync
    monkeypatch.setattr(os, "fsync", lambda handle: (seen.append(left_in(tmp_path)), fsync(handle)))
    write_whole(tmp_path / "a.csv", b"new")
    ((partial,),) = seen
    assert partial.startswith(PARTIAL_PREFIX)


def test_a_folder_that_is_not_there_is_an_os_error(tmp_path):
    with pytest.raises(FileNotFoundError):
        write_whole(tmp_path / "gone" / "a.csv", b"new")


def test_a_reader_never_sees_half_a_file(tmp_path):
    path = tmp_path / "a.csv"
    versions = [bytes([65 + i]) * 300_000 for i in range(2)]
    write_whole(path, versions[0])
    seen: set[bytes] = set()
    done = threading.Event()

    def read() -> None:
        while not done.is_set():
            seen.add(path.read_bytes())

    reader = threading.Thread(target=read)
    reader.start()
    for i in range(60):
        write_whole(path, versions[i % 2])
    done.set()
    reader.join()
    assert seen and seen <= set(versions)


@pytest.mark.skipif(os.name != "posix", reason="permissions as POSIX has them")
@pytest.mark.parametrize(("umask", "mode"), [(0o022, 0o644), (0o077, 0o600), (0o002, 0o664)])
def test_a_file_has_the_permissions_that_any_new_file_has(tmp_path, umask, mode):
    before = os.umask(umask)
    try:
        write_whole(tmp_path / "a.csv", b"")
        assert os.umask(umask) == umask
    finally:
        os.umask(before)
    assert (tmp_path / "a.csv").stat().st_mode & 0o777 == mode


def test_a_sweep_takes_partials_away_and_nothing_else(tmp_path):
    for name in (f"{PARTIAL_PREFIX}abc", f"{PARTIAL_PREFIX}x.mid", "a.csv", ".takemill", ".hidden"):
        (tmp_path / name).write_bytes(b"x")
    sweep_partials(tmp_path)
    assert left_in(tmp_path) == [".hidden", ".takemill", "a.csv"]


def test_a_sweep_of_a_folder_that_is_not_there_does_nothing(tmp_path):
    sweep_partials(tmp_path / "gone")
    assert left_in(tmp_path) == []
