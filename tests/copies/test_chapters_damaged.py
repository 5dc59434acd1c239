"""Whatever the bytes: a copy or one plain line. The cases are the same in every run."""

from pathlib import Path

import pytest
from chaptering import analysed
from hostile.test_mutations import FIXED, damaged
from hypothesis import given
from hypothesis import strategies as st

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


@pytest.mark.parametrize("encode", ["flac", "ogg"])
@pytest.mark.parametrize("suffix", [".wav", ".aiff", ".caf", ".w64", ".rf64", ".au", ".m4a", ".wma"])
@FIXED
@given(data=st.data())
def test_a_damaged_recording_is_encoded_or_refused(tmp_path, suffix, encode, data):
    path = tmp_path / f"take{suffix}"
    path.write_bytes(data.draw(damaged(suffix)))
    copy_or_refuse(path, encode)
