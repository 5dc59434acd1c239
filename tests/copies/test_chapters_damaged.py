"""Whatever the bytes: a copy or one plain line. The cases are the same in every run."""

import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest
from chaptering import analysed
from hostile.test_mutations import FIXED, damaged, good
from hypothesis import given
from hypothesis import strategies as st
from test_tags import nested_chapters

from batch.errors import TakeError
from batch.names import MADE_BY
from exporters.copies.chapters import Chapters


def copy_or_refuse(recording: Path, encode: str = "no") -> None:
    copy = recording.with_name("copy")
    with copy.open("w+b") as stream:
        try:
            Chapters(encode=encode).copy(analysed(2, 0.5), recording, stream)
        except TakeError as error:
            assert str(error).isprintable() and "; " in str(error)
            return
    assert MADE_BY.encode() in copy.read_bytes()[: 1 << 16]


@pytest.mark.parametrize("suffix", [".mp3", ".flac", ".ogg", ".opus"])
@FIXED
@given(data=st.data())
def test_a_damaged_recording_is_copied_or_refused(tmp_path, suffix, data):
    path = tmp_path / f"take{suffix}"
    path.write_bytes(data.draw(damaged(suffix)))
    copy_or_refuse(path)


FRAME = b"PRIV\x00\x00\x00\x01\x00\x00\x00"
# RFC 3533, 6: a page whose 255 segments of 255 bytes leave its packet unfinished.
PAGE = b"OggS\x00\x00" + bytes(8) + b"take" + bytes(8) + b"\xff" * 256 + bytes(255 * 255)
ENDLESS: dict[str, Callable[[], bytes]] = {
    ".mp3": lambda: b"ID3\x03\x00\x00\x08\x00\x00\x00" + FRAME * (1 << 21),
    ".flac": lambda: good(".flac")[:42] + bytes([1, 0, 0, 0]) * (1 << 23),
    ".ogg": lambda: good(".ogg")[:14] + b"take" + good(".ogg")[18:58] + PAGE * 700,
}
"""Tags of nothing but beginnings, 16 MB and more."""


@pytest.mark.parametrize("suffix", ENDLESS)
def test_tags_without_end_are_refused_before_they_fill_the_memory(tmp_path, suffix):
    path = tmp_path / f"take{suffix}"
    path.write_bytes(ENDLESS[suffix]())
    started_s = time.process_time()
    tracemalloc.start()
    with (
        pytest.raises(TakeError, match=r"^has tags of more than .*; take pictures and the like out of them$"),
        (tmp_path / "copy").open("w+b") as stream,
    ):
        Chapters().copy(analysed(2, 0.5), path, stream)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 400 << 20
    assert time.process_time() - started_s < 30


def test_chapters_inside_chapters_without_end_give_way(tmp_path):
    path = tmp_path / "take.mp3"
    path.write_bytes(nested_chapters(250) + good(".mp3"))
    copy_or_refuse(path)
    assert (tmp_path / "copy").read_bytes().count(b"CHAP") == 2


@pytest.mark.parametrize("encode", ["flac", "ogg"])
@pytest.mark.parametrize("suffix", [".wav", ".aiff", ".caf", ".w64", ".rf64", ".au", ".m4a", ".wma"])
@FIXED
@given(data=st.data())
def test_a_damaged_recording_is_encoded_or_refused(tmp_path, suffix, encode, data):
    path = tmp_path / f"take{suffix}"
    path.write_bytes(data.draw(damaged(suffix)))
    copy_or_refuse(path, encode)
