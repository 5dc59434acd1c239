"""Recordings that get chapters in tests, what ffmpeg hears in them, and tags read by the book."""

import json
import shutil
import struct
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile
from building import analysis_of, phrases_at, take_info

from batch.model import Analysis
from exporters.chapters.chapter import Division
from exporters.copies.chapters import Chapters

RATE_HZ = 48_000
WRITTEN = {".mp3": ("MP3", None), ".flac": ("FLAC", "PCM_16"), ".ogg": ("OGG", "VORBIS"),
           ".oga": ("OGG", "VORBIS"), ".opus": ("OGG", "OPUS")}  # fmt: skip

needs_ffmpeg = pytest.mark.skipif(
    shutil.which("ffprobe") is None or shutil.which("ffmpeg") is None, reason="needs ffprobe and ffmpeg"
)


def noise(seconds: float, channels: int = 2, rate_hz: int = RATE_HZ) -> np.ndarray:
    """Return noise at half of full scale, shape (n, channels), float64."""
    return np.random.default_rng(3).uniform(-0.5, 0.5, (round(seconds * rate_hz), channels))


def recorded(path: Path, seconds: float = 4.0) -> Path:
    """Write noise as a recording of the kind that the ending says."""
    container, coding = WRITTEN[path.suffix]
    soundfile.write(path, noise(seconds), RATE_HZ, format=container, subtype=coding)
    return path


def analysed(count: int = 5, seconds: float = 4.0, title: str | None = None) -> Analysis:
    """Return the analysis of a take with phrases at odd times, as long as they have room."""
    step_s = (seconds - 0.1) / max(count, 1)
    spans = [(0.1 + i * step_s, 0.1 + (i + 0.7) * step_s) for i in range(count)]
    return analysis_of(phrases_at(spans), take=take_info(duration_s=seconds, title=title))


def copied(
    recording: Path,
    analysis: Analysis | None = None,
    settings: Division | None = None,
    encode: str = "no",
) -> Path:
    """Return the copy with its chapters, beside the recording."""
    copier = Chapters(settings or Division(), encode)
    copy = recording.with_name(recording.stem + copier.suffix_for(recording.name))
    with copy.open("w+b") as stream:
        copier.copy(analysis or analysed(), recording, stream)
    return copy


def probed(path: Path) -> list[tuple[float, float, str]]:
    """Return start, end and title of each chapter that ffprobe sees."""
    command = ["ffprobe", "-v", "error", "-show_chapters", "-of", "json", str(path)]
    done = subprocess.run(command, capture_output=True, check=True, timeout=60)
    return [
        (float(each["start_time"]), float(each["end_time"]), each["tags"]["title"])
        for each in json.loads(done.stdout)["chapters"]
    ]


def samples_hash(path: Path) -> bytes:
    """Return a hash of the samples that ffmpeg decodes, as 32-bit numbers."""
    return _ffmpeg(path, "-map", "0:a", "-c:a", "pcm_s32le", "-f", "md5")


def frames_hash(path: Path) -> bytes:
    """Return a hash of the sound as it is coded."""
    return _ffmpeg(path, "-map", "0:a", "-c", "copy", "-f", "md5")


def _ffmpeg(path: Path, *how: str) -> bytes:
    command = ["ffmpeg", "-v", "error", "-i", str(path), *how, "-"]
    return subprocess.run(command, capture_output=True, check=True, timeout=60).stdout


@dataclass(frozen=True, slots=True)
class Said:
    """A frame of a tag by hand."""

    name: str
    flags: int
    body: bytes


def frames_of(content: bytes) -> Iterator[Said]:
    """Yield the frames of a tag by ID3v2.4 and ID3v2.3, 3.1 ("header") and 3.3 or 4 ("frame header")."""
    assert content[:3] == b"ID3"
    version = content[3]
    end = 10 + _sync_safe(content[6:10])
    yield from _frames(content[10:end], version)


def _frames(content: bytes, version: int) -> Iterator[Said]:
    at = 0
    while at < len(content) and content[at]:
        size = content[at + 4 : at + 8]
        length = _sync_safe(size) if version == 4 else int.from_bytes(size, "big")
        flags = int.from_bytes(content[at + 8 : at + 10], "big")
        yield Said(content[at : at + 4].decode(), flags, content[at + 10 : at + 10 + length])
        at += 10 + length


def _sync_safe(four: bytes) -> int:
    assert all(byte < 128 for byte in four)
    return four[0] << 21 | four[1] << 14 | four[2] << 7 | four[3]


def chapter_of(frame: Said, version: int = 4) -> tuple[str, int, int, int, int, list[Said]]:
    """Return the fields of CHAP by the addendum's table: element ID, four numbers, sub-frames."""
    name, _, rest = frame.body.partition(b"\x00")
    return (name.decode(), *struct.unpack(">IIII", rest[:16]), list(_frames(rest[16:], version)))


def table_of(frame: Said, version: int = 4) -> tuple[str, int, list[str], list[Said]]:
    """Return the fields of CTOC by the addendum's table: element ID, flags, child element IDs, sub-frames."""
    name, _, rest = frame.body.partition(b"\x00")
    flags, count = rest[:2]
    *children, rest = rest[2:].split(b"\x00", count)
    return name.decode(), flags, [child.decode() for child in children], list(_frames(rest, version))
