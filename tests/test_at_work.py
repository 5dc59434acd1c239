"""One process a role in a folder: two processes, one of which is killed."""

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from batch.at_work import Role, hold, is_held
from batch.errors import BatchError

_HOLD = """
import sys, time
from pathlib import Path
from batch.at_work import Role, hold
with hold(Path(sys.argv[1]), Role.WATCHING, meanwhile=lambda: print("waits", flush=True)):
    print("holds", flush=True)
    sys.stdin.read()
"""


def holder(folder: Path) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", _HOLD, folder], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )


@pytest.fixture
def other(tmp_path: Path):
    with holder(tmp_path) as process:
        assert process.stdout.readline() == "holds\n"
        yield process
        process.kill()


def test_a_role_that_another_process_has_is_refused(tmp_path, other):
    assert is_held(tmp_path, Role.WATCHING)
    refused = pytest.raises(
        BatchError, match="another takemill is watching here already; stop that one first"
    )
    with refused, hold(tmp_path, Role.WATCHING):
        raise AssertionError("two have it")
    assert is_held(tmp_path, Role.WATCHING), "who was refused takes nothing away"


def test_roles_do_not_get_in_each_others_way(tmp_path, other):
    with hold(tmp_path, Role.WRITING):
        assert not is_held(tmp_path / "elsewhere", Role.WRITING)


def test_who_waits_comes_next_and_the_file_goes_with_the_last(tmp_path, other):
    with holder(tmp_path) as second:
        assert second.stdout.readline() == "waits\n"
        other.communicate()
        assert second.stdout.readline() == "holds\n"
        assert is_held(tmp_path, Role.WATCHING)
        second.communicate()
    assert list(tmp_path.iterdir()) == []


def test_a_killed_process_has_no_role(tmp_path, other):
    other.send_signal(signal.SIGKILL)
    other.wait()
    assert not is_held(tmp_path, Role.WATCHING)
    with hold(tmp_path, Role.WATCHING):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_refuses_is_named(tmp_path):
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(BatchError, match="file: cannot be written to"), hold(tmp_path / "file", Role.WRITING):
        pass
