"""Files beyond 4 GiB, sparse on disk: RF64 (EBU Tech 3306) and BW64 (ITU-R BS.2088), by other readers."""

import io
import json
import os
import shutil
import struct
import subprocess
import tracemalloc
from pathlib import Path

import pytest
import soundfile
from test_broadcast import bext
from waves import (
    MADE,
    NAMES,
    RATE,
    Seen,
    by_wavinfo,
    chunk,
    chunks_of,
    copied,
    fmt,
    form,
    of_spans,
)
from wavinfo import WavInfoReader

from batch.errors import TakeError
from exporters.copies import wav_marked
from exporters.copies.cue_points import CuePoints

LONG = 0xFFFFFFFF
FRAME = 4
"""Bytes of a sample frame: stereo, 16 bits."""
FORMAT = chunk(b"fmt ", fmt(channels=2, block=FRAME))
IXML = b"iXML", b"<BWFXML/>"
SPANS = [(0.5, 1.5), (22_400.0, 22_402.0)]
"""The second lies beyond 4 GiB of this sound: at byte 4,300,800,000."""
FOUND = [Seen(1, 24_000, NAMES[0], 48_000), Seen(2, 1_075_200_000, NAMES[1], 96_000)]
FRAMES = 22_410 * RATE
ZEROS = bytes(1 << 20)


class Sparse(io.FileIO):
    """A file whose long stretches of zeros take no room on disk and no time to read."""

    def write(self, content: bytes) -> int:  # type: ignore[override]
        if len(content) > 4096 and content == ZEROS[: len(content)]:
            self.seek(len(content), io.SEEK_CUR)
            return len(content)
        return super().write(content)

    def readinto(self, room: memoryview) -> int:  # type: ignore[override]
        at = self.tell()
        try:
            written = self.seek(at, os.SEEK_DATA)
        except OSError:  # nothing more
            written = at
        self.seek(at)
        if written - at < len(room):
            return super().readinto(room)
        room[:] = ZEROS[: len(room)]
        return self.seek(len(room), io.SEEK_CUR) - at


@pytest.fixture(autouse=True)
def quick_disk(monkeypatch):
    monkeypatch.setattr(wav_marked, "open_regular", lambda path: io.BufferedReader(Sparse(path)))


def ds64(size: int, sound: int, frames: int, table: bytes = b"", rows: int = 0) -> bytes:
    """Return the chunk: sizes of form and sound, count of samples, 8 bytes each; rows of the table."""
    return chunk(b"ds64", struct.pack("<QQQI", size, sound, frames, rows) + table)


def long_wav(
    path: Path, *, kind: bytes = b"RF64", frames: int = FRAMES, table: bytes = b"", rows: int = 0
) -> Path:
    """Write silence with a sample of 1 at the start and the end, and chunks around it."""
    sound = frames * FRAME
    head = ds64(0, 0, 0, table, rows) + bext(7 * RATE) + FORMAT
    size = 4 + len(head) + 8 + sound + len(chunk(*IXML))
    head = ds64(size, sound, frames, table, rows) + bext(7 * RATE) + FORMAT
    with path.open("wb") as stream:
        stream.write(kind + struct.pack("<I", LONG) + b"WAVE" + head + b"data" + struct.pack("<I", LONG))
        written_with_ends(stream, sound)
        stream.write(chunk(*IXML))
    assert path.stat().st_size == size + 8
    return path


def written_with_ends(stream: io.BufferedWriter, sound: int) -> None:
    stream.write(struct.pack("<hh", 1, 1))
    stream.seek(sound - 2 * FRAME, io.SEEK_CUR)
    stream.write(struct.pack("<hh", 1, 1))


def sparse_copy(path: Path) -> Path:
    """Return the copy of a large file, made in little memory."""
    if shutil.disk_usage(path.parent).free < 1 << 30:
        pytest.skip("the disk lacks room for sparse files")
    copy = path.with_name("copy.markers.wav")
    tracemalloc.start()
    with Sparse(copy, "w+b") as stream:
        CuePoints().copy(of_spans(SPANS), path, stream)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 8 << 20
    assert copy.stat().st_blocks * 512 < 1 << 24
    return copy


def head_of(path: Path, size: int = 4096) -> bytes:
    with path.open("rb") as stream:
        return stream.read(size)


def assert_read(copy: Path, frames: int) -> None:
    """libsndfile and wavinfo find the sound, its last sample, and our points in it."""
    assert by_wavinfo(copy) == FOUND
    assert WavInfoReader(str(copy)).data.frame_count == frames
    with soundfile.SoundFile(copy) as sound:
        assert (sound.format, sound.frames, sound.samplerate) == ("RF64", frames, RATE)
        sound.seek(frames - 2)
        assert sound.read(dtype="int16").tolist() == [[0, 0], [1, 1]]


def assert_read_by_ffprobe(copy: Path) -> None:
    if program := shutil.which("ffprobe"):
        command = [program, "-v", "error", "-show_format", "-show_chapters", "-of", "json", copy]
        found = json.loads(subprocess.run(command, capture_output=True, check=True).stdout)
        assert float(found["format"]["duration"]) == FRAMES / RATE
        assert [float(each["start_time"]) for each in found["chapters"]] == [start for start, _ in SPANS]


def test_rf64_stays_so_with_its_table_and_all_its_chunks(tmp_path):
    table = struct.pack("<4sQ", b"zzzz", 7)
    path = long_wav(tmp_path / "take.wav", table=table, rows=1)
    copy = sparse_copy(path)
    assert_read(copy, FRAMES)
    assert WavInfoReader(str(copy)).bext.time_reference == 7 * RATE
    size = copy.stat().st_size
    before, after = head_of(path), head_of(copy)
    assert after[:12] == b"RF64\xff\xff\xff\xffWAVE"
    assert after[12:60] == ds64(size - 8, FRAMES * FRAME, FRAMES, table, 1)
    data_at = before.index(b"data") + 8
    assert after[60:data_at] == before[60:data_at]
    with copy.open("rb") as stream:
        stream.seek(data_at + FRAMES * FRAME)
        behind = chunks_of(stream.read(), first=0)
    assert behind[0] == IXML
    assert [name for name, _ in behind] == [b"iXML", b"cue ", b"LIST", b"JUNK"]
    assert behind[-1] == MADE
    assert_read_by_ffprobe(copy)


@pytest.mark.parametrize("room", [None, 1004])
def test_a_riff_that_grows_beyond_4_gib_becomes_rf64(tmp_path, room):
    # EBU Tech 3306: a chunk JUNK of 28 bytes or more at the start keeps room for ds64, which then
    # leaves everything where it was.
    reserve = b"" if room is None else chunk(b"JUNK", bytes(room))
    sound = (LONG - 9 - 4 - len(reserve) - len(FORMAT) - 8) // FRAME * FRAME
    size = 4 + len(reserve) + len(FORMAT) + 8 + sound
    path = tmp_path / "take.wav"
    with path.open("wb") as stream:
        stream.write(b"RIFF" + struct.pack("<I", size) + b"WAVE" + reserve + FORMAT)
        stream.write(b"data" + struct.pack("<I", sound))
        written_with_ends(stream, sound)
    assert path.stat().st_size == size + 8 < 1 << 32
    copy = sparse_copy(path)
    assert soundfile.info(path).frames == sound // FRAME
    is_reserved = room is not None and room >= 28
    after = head_of(copy)
    content = struct.pack("<QQQI", copy.stat().st_size - 8, sound, sound // FRAME, 0)
    held = chunk(b"ds64", content.ljust(room if room and is_reserved else 28, b"\0"))
    assert after[: 12 + len(held)] == b"RF64\xff\xff\xff\xffWAVE" + held
    assert after.index(b"data") - head_of(path).index(b"data") == (0 if is_reserved else 36)
    assert_read(copy, sound // FRAME)


def test_a_riff_that_does_not_pass_4_gib_stays_riff(tmp_path):
    path = tmp_path / "take.wav"
    path.write_bytes(form([(b"JUNK", bytes(28)), (b"fmt ", fmt()), (b"data", bytes(100))]))
    assert copied(path)[:4] == b"RIFF"


@pytest.mark.parametrize("kind", [b"RF64", b"BW64"])
def test_a_short_file_with_long_sizes_keeps_its_kind(tmp_path, kind):
    frames = 4000
    (copy := tmp_path / "copy.wav").write_bytes(
        copied(long_wav(tmp_path / "take.wav", kind=kind, frames=frames), of_spans())
    )
    assert head_of(copy)[:4] == kind
    # libsndfile 1.2 reads no BW64, and in RF64 no cue points.
    assert [seen.at for seen in by_wavinfo(copy)] == [24_000, 96_000]
    assert WavInfoReader(str(copy)).data.frame_count == frames


def test_long_sizes_that_a_recorder_never_filled_in_are_right_in_the_copy(tmp_path):
    path = long_wav(tmp_path / "take.wav", frames=4000)
    content = bytearray(path.read_bytes())
    content[20:36] = bytes(16)
    del content[-len(chunk(*IXML)) :]
    path.write_bytes(content)
    (copy := tmp_path / "copy.wav").write_bytes(copied(path))
    assert struct.unpack_from("<QQ", copy.read_bytes(), 20) == (copy.stat().st_size - 8, 4000 * FRAME)
    assert soundfile.info(copy).frames == WavInfoReader(str(copy)).data.frame_count == 4000


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"RF64\xff\xff\xff\xffWAVE" + FORMAT, "lacks its long sizes"),
        (b"RF64\xff\xff\xff\xffWAVE", "lacks its long sizes"),
        (b"RF64\xff\xff\xff\xffWAVEds64\x04\0\0\0abcd", "lacks its long sizes"),
        (b"RF64\xff\xff\xff\xffWAVEds64\xff\xff\xff\x7f" + bytes(28), "lacks its long sizes"),
        (b"RF64\xff\xff\xff\xffWAVEds64\x20\0\0\0" + bytes(28), "cut short inside its header"),
    ],
)
def test_long_sizes_that_are_nonsense_are_one_line(tmp_path, content, said):
    (path := tmp_path / "take.wav").write_bytes(content)
    with pytest.raises(TakeError, match=said):
        copied(path)


def test_a_sound_larger_than_the_file_is_cut_short(tmp_path):
    path = long_wav(tmp_path / "take.wav", frames=4000)
    content = bytearray(path.read_bytes())
    content[28:36] = struct.pack("<Q", 1 << 60)
    path.write_bytes(content)
    with pytest.raises(TakeError, match="its chunk 'data' is not whole"):
        copied(path)


def test_another_chunk_whose_size_the_table_holds_is_copied(tmp_path):
    # EBU Tech 3306: the table has the sizes of chunks other than data beyond 4 GiB; their own field is -1.
    path, length, sound = tmp_path / "take.rf64", (4 << 30) + 2, RATE * FRAME
    row = struct.pack("<4sQ", b"bulk", length)
    size = 4 + len(ds64(0, 0, 0, row, 1)) + len(FORMAT) + 8 + sound + 8 + length
    head = ds64(size, sound, RATE, row, 1) + FORMAT + b"data" + struct.pack("<I", LONG) + bytes(sound)
    with path.open("wb") as stream:
        stream.write(b"RF64" + struct.pack("<I", LONG) + b"WAVE" + head + b"bulk" + struct.pack("<I", LONG))
        written_with_ends(stream, length)
    assert path.stat().st_size == size + 8
    with sparse_copy(path).open("rb") as stream:
        assert stream.read(12 + len(head))[60:] == (b"RF64\xff\xff\xff\xffWAVE" + head)[60:]
        assert stream.read(12) == b"bulk\xff\xff\xff\xff" + struct.pack("<hh", 1, 1)
        stream.seek(length - 8, io.SEEK_CUR)
        assert stream.read(8) == struct.pack("<hh", 1, 1) + b"cue "
