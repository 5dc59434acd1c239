"""What has a take's name and is no file is refused at once, by its own word and not by its name's."""

import os
import socket
from pathlib import Path

import pytest

from batch.errors import TakeError
from batch.regular import NotRegularError, TooLargeError, open_regular, read_regular, size_of, unreadable


def bound_socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as server:
        server.bind(str(path))


MAKERS = {
    "is a pipe": os.mkfifo,
    "is a socket or a device": bound_socket,
    "is a device": lambda path: path.symlink_to("/dev/zero"),
    "is a folder": lambda path: path.mkdir(),
    "is not there any more": lambda path: path.symlink_to("gone.wav"),
    "is a link that leads in a circle": lambda path: path.symlink_to(path.name),
}


def said_of(path: Path) -> str:
    with pytest.raises(OSError) as error:
        open_regular(path)
    return str(unreadable(path, error.value))


@pytest.mark.parametrize("said", MAKERS)
def test_what_is_no_file_is_refused_without_waiting(tmp_path, monkeypatch, said):
    monkeypatch.chdir(tmp_path)  # a socket's name may not be long
    path = Path("take.wav")
    MAKERS[said](path)
    assert said_of(path).startswith(said)


def test_a_file_is_read_and_so_is_a_link_to_one(tmp_path):
    (tmp_path / "take.wav").write_bytes(b"sound")
    (tmp_path / "link.wav").symlink_to("take.wav")
    for name in ("take.wav", "link.wav"):
        with open_regular(tmp_path / name) as stream:
            assert (size_of(stream), stream.read(), stream.name) == (5, b"sound", tmp_path / name)


def test_a_refused_pipe_is_closed_again(tmp_path):
    os.mkfifo(tmp_path / "take.wav")
    before = len(list(Path("/dev/fd").iterdir()))
    for _ in range(20):
        with pytest.raises(NotRegularError):
            open_regular(tmp_path / "take.wav")
    assert len(list(Path("/dev/fd").iterdir())) == before


def test_no_more_is_read_than_was_asked_for(tmp_path):
    path = tmp_path / "tempo.mid"
    path.write_bytes(bytes(11))
    assert read_regular(path, 11) == bytes(11)
    with pytest.raises(TooLargeError):
        read_regular(path, 10)
    (tmp_path / "endless.mid").symlink_to("/dev/zero")
    with pytest.raises(NotRegularError):
        read_regular(tmp_path / "endless.mid", 10)


def test_the_words_for_it_are_a_take_error(tmp_path):
    error = unreadable(tmp_path / "take.wav", NotRegularError(22, "is a pipe"))
    assert isinstance(error, TakeError)
    assert str(error) == "is a pipe, no recording; take it out of the folder"
