"""WAV files laid out by hand, copied with cue points, and read back by libsndfile and wavinfo."""

import io
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import soundfile
from building import analysis_of, phrases_at
from wavinfo import WavInfoReader

from batch.model import Analysis
from exporters.copies.cue_points import CuePoints

RATE = 48_000
MADE = (b"JUNK", b"Made by takemill")
SPANS = [(0.5, 1.5), (2.0, 4.0)]
NAMES = ["01 long dense against-groove", "02 long dense against-groove"]

Chunks = Sequence[tuple[bytes, bytes]]


def chunk(name: bytes, content: bytes) -> bytes:
    return name + struct.pack("<I", len(content)) + content + b"\0" * (len(content) % 2)


def form(chunks: Chunks, *, after: bytes = b"") -> bytes:
    """Return a RIFF WAVE of these chunks, and bytes behind its end."""
    body = b"WAVE" + b"".join(chunk(*each) for each in chunks)
    return b"RIFF" + struct.pack("<I", len(body)) + body + after


def fmt(rate: int = RATE, *, tag: int = 1, channels: int = 1, block: int = 2, bits: int = 16) -> bytes:
    return struct.pack("<HHIIHH", tag, channels, rate, rate * block, block, bits)


def chunks_of(content: bytes, first: int = 12) -> list[tuple[bytes, bytes]]:
    """Return the chunks of a form without 64-bit sizes, to its very end; each fits and is padded with 0."""
    found, at = [], first
    while at < len(content):
        name, length = struct.unpack_from("<4sI", content, at)
        found.append((name, content[at + 8 : at + 8 + length]))
        assert len(found[-1][1]) == length
        at += 8 + length
        if length % 2:
            assert content[at : at + 1] == b"\0"
            at += 1
    assert at == len(content)
    return found


def of_spans(spans_s: Sequence[tuple[float, float]] = SPANS) -> Analysis:
    return analysis_of(phrases_at(spans_s))


def copied(path: Path, analysis: Analysis | None = None, exporter: CuePoints | None = None) -> bytes:
    """Return the copy of a recording, which is as it was."""
    before = path.read_bytes()
    stream = io.BytesIO()
    (exporter or CuePoints()).copy(analysis or of_spans(), path, stream)
    assert path.read_bytes() == before
    return stream.getvalue()


def copied_file(path: Path, analysis: Analysis | None = None, exporter: CuePoints | None = None) -> Path:
    """Write the copy beside the recording."""
    copy = path.with_name(f"{path.stem}.markers.wav")
    copy.write_bytes(copied(path, analysis, exporter))
    return copy


@dataclass(frozen=True, slots=True)
class Seen:
    """A cue point as a reader has it; ``length`` None where there is no region."""

    number: int
    at: int
    name: str | None
    length: int | None = None


def by_wavinfo(path: Path) -> list[Seen]:
    cues = WavInfoReader(str(path)).cues
    return [Seen(n, at, cues.label_and_note(n)[0], cues.range(n)) for n, at in cues.each_cue()]


_GET_CUE_COUNT, _GET_CUE = 0x10CD, 0x10CE
_POINT = struct.Struct("=iIiiiI256s")
"""SFC_GET_CUE_COUNT, SFC_GET_CUE and SF_CUE_POINT of libsndfile's sndfile.h."""


def by_libsndfile(path: Path) -> list[Seen]:
    """Return its cue points: position by sample offset; it has no regions."""
    library, ffi = soundfile._snd, soundfile._ffi
    with soundfile.SoundFile(path) as sound:
        count = ffi.new("uint32_t *")
        if not library.sf_command(sound._file, _GET_CUE_COUNT, count, 4):
            return []
        size = 4 + _POINT.size * count[0]
        room = ffi.new("char[]", size)
        assert library.sf_command(sound._file, _GET_CUE, room, size)
        points = _POINT.iter_unpack(ffi.buffer(room, size)[4:])
        return [Seen(number, at, name.split(b"\0")[0].decode()) for number, _, _, _, _, at, name in points]
