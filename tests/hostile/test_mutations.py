"""Whatever the bytes: an analysis or one plain line. The cases are the same in every run."""

import io
import struct
from collections.abc import Callable, Iterator
from functools import lru_cache
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory

import mutagen
import numpy as np
import pytest
import soundfile
from conftest import Run
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutagen import id3
from recording import RATE, write_media
from sounding import write_midi_take

from batch.errors import TakeError
from batch.midi_take import read_tempo_map
from batch.takes import AudioTake, open_take

CODINGS = {".m4a": "aac", ".mov": "pcm_s16le", ".webm": "libopus", ".wma": "wmav2", ".mka": "flac",
           ".opus": "libopus", ".mp3": "libmp3lame"}  # fmt: skip
WRITTEN = {".wav": "WAV", ".w64": "W64", ".rf64": "RF64", ".caf": "CAF", ".aiff": "AIFF", ".au": "AU",
           ".flac": "FLAC", ".ogg": "OGG"}  # fmt: skip
TAGGED = frozenset({".wav", ".aiff", ".flac", ".ogg", ".opus", ".mp3", ".m4a", ".wma"})

EXTREMES = (0, 1, 0x7F, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 2**63 - 1, 2**63, 2**64 - 1)
NAMES = (b"RIFF", b"fmt ", b"data", b"ds64", b"bext", b"LIST", b"id3 ", b"ID3 ", b"FORM", b"COMM", b"SSND",
         b"caff", b"desc", b".snd", b"fLaC", b"OggS", b"vorbis", b"OpusHead", b"OpusTags", b"ID3", b"TIT2",
         b"APIC", b"Xing", b"Info", b"ftyp", b"moov", b"mvhd", b"trak", b"stbl", b"stsd", b"stts", b"stsz",
         b"stsc", b"stco", b"mdat", b"ilst", b"covr", b"\x1a\x45\xdf\xa3", b"\x18\x53\x80\x67",
         b"\x1f\x43\xb6\x75", b"\x16\x54\xae\x6b", b"\x30\x26\xb2\x75", b"\xa1\xdc\xab\x8c", b"MThd", b"MTrk",
         b"\xff\x51\x03", b"\xff\x58\x04", b"\x90")  # fmt: skip
"""What chunks, pages, atoms, elements and events of these formats start with."""

MOST_FRAMES = 1 << 23


@lru_cache
def good(suffix: str) -> bytes:
    """Return half a second of noise as a file of this kind with a title, or a short performance."""
    noise = np.random.default_rng(4).uniform(-0.5, 0.5, RATE // 2).astype(np.float32)
    with TemporaryDirectory() as folder:
        path = Path(folder) / f"good{suffix}"
        if suffix == ".mid":
            return write_midi_take(path).read_bytes()
        if suffix in CODINGS:
            write_media(path, [noise], CODINGS[suffix])
        else:
            soundfile.write(path, noise, RATE, format=WRITTEN[suffix])
        if suffix in TAGGED:
            tag(path)
        content = path.read_bytes()
    return with_broadcast(content) if suffix == ".wav" else content


def tag(path: Path) -> None:
    file = mutagen.File(path)
    if file.tags is None:
        file.add_tags()
    if isinstance(file.tags, id3.ID3):
        file.tags.add(id3.TIT2(encoding=3, text="Lo"))
        file.tags.add(id3.APIC(encoding=3, mime="image/png", type=3, desc="", data=bytes(300)))
    else:
        file.tags["\xa9nam" if path.suffix == ".m4a" else "title"] = "Lo"
    file.save()


def with_broadcast(content: bytes) -> bytes:
    """Put chunks of EBU Tech 3285 in front of the others."""
    bext = bytes(320) + b"2024-05-0612:30:00" + struct.pack("<Q", 48_000 * 3600) + bytes(256)
    chunks = struct.pack("<4sI", b"bext", len(bext)) + bext + b"iXML\x04\0\0\0<a/>" + content[12:]
    return b"RIFF" + struct.pack("<I", len(chunks) + 4) + b"WAVE" + chunks


@lru_cache
def borders(suffix: str) -> tuple[int, ...]:
    """Return where chunks of the good file start."""
    content = good(suffix)
    found = (at for name in NAMES for at in islice(all_of(content, name), 8))
    return tuple(sorted({0, *found}))


def all_of(content: bytes, name: bytes) -> Iterator[int]:
    at = content.find(name)
    while at >= 0:
        yield at
        at = content.find(name, at + 1)


@st.composite
def damaged(draw: st.DrawFn, suffix: str) -> bytes:
    """Draw a good file with up to three things wrong with it."""
    content = bytearray(good(suffix))
    places = borders(suffix)
    for wrong in draw(st.lists(st.sampled_from(WRONGS), min_size=1, max_size=3)):
        at, other = draw(st.sampled_from(places)), draw(st.sampled_from(places))
        content = wrong(content, at, other, draw(st.integers(0, 2**20)))
    return bytes(content)


def flipped(content: bytearray, at: int, other: int, chance: int) -> bytearray:
    if content:
        content[chance % len(content)] ^= 1 << chance % 8
    return content


def header_changed(content: bytearray, at: int, other: int, chance: int) -> bytearray:
    place = at + chance % 48
    return content[:place] + bytes([chance // 48 % 256]) + content[place + 1 :]


def stating(content: bytearray, at: int, other: int, chance: int) -> bytearray:
    """Put an extreme number where a chunk states one."""
    number, width = EXTREMES[chance % len(EXTREMES)], (1, 2, 4, 8)[chance // 16 % 4]
    place = at + (4, 8, 12, 16, 20, 24, -4, 2)[chance // 64 % 8]
    stated = (number % (1 << 8 * width)).to_bytes(width, ("little", "big")[chance // 512 % 2])
    return content if place < 0 else content[:place] + stated + content[place + width :]


def cut_at_chunk(content: bytearray, at: int, other: int, chance: int) -> bytearray:
    return content[: at + (0, 4, 8, 1)[chance % 4]]


def cut_anywhere(content: bytearray, at: int, other: int, chance: int) -> bytearray:
    return content[: chance % (len(content) + 1)]


def doubled(content: bytearray, at: int, other: int, chance: int) -> bytearray:
    first, last = sorted((at, other))
    return content[:last] + content[first:last] + content[last:]


def left_out(content: bytearray, at: int, other: int, chance: int) -> bytearray:
    first, last = sorted((at, other))
    return content[:first] + content[last:]


def moved(content: bytearray, at: int, other: int, chance: int) -> bytearray:
    first, last = sorted((at, other))
    return content[:first] + content[last:] + content[first:last]


def stuffed(content: bytearray, at: int, other: int, chance: int) -> bytearray:
    return content[:at] + bytes([(0, 255, 65)[chance % 3]]) * (chance * 2) + content[at:]


def joined(content: bytearray, at: int, other: int, chance: int) -> bytearray:
    return content + good((*sorted(CODINGS), *sorted(WRITTEN), ".mid")[chance % 16])


WRONGS: tuple[Callable[[bytearray, int, int, int], bytearray], ...] = (
    flipped, header_changed, header_changed, stating, stating, stating, cut_at_chunk, cut_anywhere, doubled,
    left_out, moved, stuffed, joined,
)  # fmt: skip

_UNCHECKED = (HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large)
FIXED = settings(
    max_examples=60, deadline=8000, derandomize=True, database=None, suppress_health_check=_UNCHECKED
)


def read(path: Path) -> None:
    """Read a take to its end, or be refused in a plain line."""
    try:
        take = open_take(path, "")
        if isinstance(take, AudioTake):
            assert sum(map(len, islice(take.blocks(), 100))) < MOST_FRAMES
    except TakeError as error:
        assert str(error).isprintable() and "; " in str(error)
    else:
        assert take.info.title is None or (take.info.title.isprintable() and len(take.info.title) <= 200)


@pytest.mark.parametrize("suffix", sorted(CODINGS | WRITTEN))
@FIXED
@given(data=st.data())
def test_a_damaged_recording_is_read_or_refused(tmp_path, suffix, data):
    path = tmp_path / f"take{suffix}"
    path.write_bytes(data.draw(damaged(suffix)))
    read(path)


@FIXED
@given(content=damaged(".mid"))
def test_a_damaged_midi_file_is_read_or_refused(tmp_path, content):
    path = tmp_path / "take.mid"
    path.write_bytes(content)
    read(path)
    try:
        read_tempo_map(path)
    except TakeError as error:
        assert str(error).isprintable()


@pytest.mark.parametrize("ending", [".mid", ".wav", ".mp3", ".m4a", ".flac", ".wma"])
@pytest.mark.parametrize("suffix", sorted(CODINGS | WRITTEN))
def test_a_recording_under_another_kinds_ending_is_read_or_refused(tmp_path, suffix, ending):
    path = tmp_path / f"take{ending}"
    path.write_bytes(good(suffix))
    if ending == ".mid":
        with pytest.raises(TakeError, match="is not a Standard MIDI File"):
            open_take(path, "")
    else:
        assert open_take(path, "").info.duration_s == pytest.approx(0.5, abs=0.1)


def test_a_decoders_own_doubts_do_not_reach_the_player(takemill: Run, tmp_path):
    # libsndfile's decoder of MP3 prints "Note: Trying to resync..." where frames are broken.
    sound = np.random.default_rng(5).uniform(-0.5, 0.5, RATE).astype(np.float32)
    stream = io.BytesIO()
    soundfile.write(stream, sound, RATE, format="MP3")
    content = bytearray(stream.getvalue())
    for at in range(len(content) // 3, len(content) - 50, 1200):
        content[at : at + 40] = bytes(40)
    (tmp_path / "take.mp3").write_bytes(content)
    done = takemill("run", tmp_path)
    assert "Traceback" not in done.stderr
    assert [line for line in done.stderr.splitlines() if not line.startswith("take.mp3: ")] == []
