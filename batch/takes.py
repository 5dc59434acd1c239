"""A path to a take: the only reader of sound files and of the tags inside them."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
import soundfile

from batch.errors import TakeError
from batch.folder import MIDI_SUFFIXES, unreadable
from batch.midi_take import read_performance
from batch.model import Note, TakeInfo
from batch.tags import Tags, read_tags
from batch.tempo import TempoMap

BLOCK_FRAMES = 1 << 17
"""Frames read at once: about 3 s at 44.1 kHz, a megabyte in stereo."""

LOOSE_FORMATS = frozenset({"MP3", "OGG"})
"""Formats whose header only estimates the length."""

UNKNOWN_FRAMES = 2**63 - 1
"""Length that libsndfile gives a streamed FLAC, which states none and which it cannot read (SF_COUNT_MAX)."""

_CHUNK_HEADER = 8
"""Bytes of a RIFF or IFF chunk's name and size."""
_STREAMED_SIZES = frozenset({0, 0xFFFFFFFF, 0x7FFFFFFF, 0x80000000})
"""Lengths that a program streaming to a pipe leaves in a header (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class AudioTake:
    """A sound file, opened once to see that it can be read."""

    path: Path
    info: TakeInfo
    tempo_bpm: float | None

    def blocks(self) -> Iterator[np.ndarray]:
        """Yield the take from its start as mono float32 blocks, shape (n,), -1..1.

        Channels are averaged. Each call starts a fresh pass.

        Raises
        ------
        TakeError
            If the sound breaks off or holds values that are not numbers.
        """
        with _opened(self.path) as sound:
            left = sound.frames
            while len(block := _read(sound, self.path)):
                mono = block.mean(axis=1) if block.shape[1] > 1 else block[:, 0]
                if not np.isfinite(mono).all():
                    raise TakeError(
                        self.path,
                        "holds samples that are not numbers (NaN or infinity)",
                        "export it again from the recording program",
                    )
                left -= len(mono)
                yield mono
            if left > 0 and sound.format not in LOOSE_FORMATS:
                raise TakeError(
                    self.path,
                    f"breaks off {left / sound.samplerate:.1f} s before the end that its header states",
                    "copy it again from the recorder",
                )


@dataclass(frozen=True, slots=True)
class MidiTake:
    """A performance recorded as a Standard MIDI File, with the tempo map it carries."""

    path: Path
    info: TakeInfo
    notes: tuple[Note, ...]
    tempo_map: TempoMap


Take = AudioTake | MidiTake


def open_take(path: Path, fingerprint: str) -> Take:
    """Open a take whose content hash is ``fingerprint`` and read its header and tags.

    Raises
    ------
    TakeError
        If the file is empty, is no take, is cut short, or cannot be read.
    """
    try:
        size = path.stat().st_size
    except OSError as error:
        raise unreadable(path, error) from error
    if size == 0:
        raise TakeError(path, "is empty", "record it again, or delete it")
    if path.suffix.lower() in MIDI_SUFFIXES:
        return _open_midi(path, fingerprint)
    return _open_audio(path, fingerprint)


def _open_midi(path: Path, fingerprint: str) -> MidiTake:
    performance = read_performance(path)
    info = TakeInfo(
        file=path.name,
        duration_s=performance.duration_s,
        sample_rate_hz=None,
        channels=None,
        title=performance.title,
        recorded_at=None,
        time_reference_s=None,
        content_hash=fingerprint,
    )
    return MidiTake(path, info, performance.notes, performance.tempo_map)


def _open_audio(path: Path, fingerprint: str) -> AudioTake:
    _refuse_cut_short(path)
    with _opened(path) as sound:
        frames, rate, channels = sound.frames, sound.samplerate, sound.channels
    if frames == UNKNOWN_FRAMES:
        raise TakeError(path, "was streamed and does not state its length", "export it again as WAV or FLAC")
    if frames == 0:
        raise TakeError(
            path,
            "holds no sound, or its header was never finished",
            "open it in the recording program and export it again",
        )
    tags: Tags = read_tags(path)
    info = TakeInfo(
        file=path.name,
        duration_s=frames / rate,
        sample_rate_hz=rate,
        channels=channels,
        title=tags.title,
        recorded_at=tags.recorded_at,
        time_reference_s=None,
        content_hash=fingerprint,
    )
    return AudioTake(path, info, tags.tempo_bpm)


@contextmanager
def _opened(path: Path) -> Iterator[soundfile.SoundFile]:
    """Open a sound file; libsndfile's complaints become a :class:`TakeError`."""
    try:
        with path.open("rb") as stream, soundfile.SoundFile(stream) as sound:
            yield sound
    except OSError as error:
        raise unreadable(path, error) from error
    except soundfile.SoundFileError as error:
        raise TakeError(path, f"is no sound file that can be read ({_reason(error)})",
                        "export it again as WAV or FLAC") from error  # fmt: skip


def _read(sound: soundfile.SoundFile, path: Path) -> np.ndarray:
    """Return the next block, shape (n, channels); n is 0 at the end."""
    try:
        return sound.read(BLOCK_FRAMES, dtype="float32", always_2d=True)
    except soundfile.SoundFileError as error:
        raise TakeError(path, f"breaks off before its end ({_reason(error)})",
                        "copy it again from the recorder") from error  # fmt: skip


def _reason(error: soundfile.SoundFileError) -> str:
    """Return libsndfile's own words without our stream's repr."""
    text = str(getattr(error, "error_string", error))
    return text.removeprefix("Error : ").strip().rstrip(".") or "unknown format"


def _refuse_cut_short(path: Path) -> None:
    """Refuse a WAV or AIFF whose header promises more sound than the file holds.

    libsndfile shortens such a take without a word, and a player would never learn that the
    end of a solo is gone.
    """
    try:
        with path.open("rb") as stream:
            promised, held = _promised_and_held(stream, path.stat().st_size)
    except OSError as error:
        raise unreadable(path, error) from error
    if promised > held:
        raise TakeError(
            path,
            f"is cut short: its header promises {promised:,} bytes of sound and {held:,} are there",
            "copy it again from the recorder, or export it again to keep what is there",
        )


def _promised_and_held(stream: BinaryIO, size: int) -> tuple[int, int]:
    """Return the byte count that the sound chunk states, and how many bytes follow it."""
    head = stream.read(12)
    order = {b"RIFF": "little", b"FORM": "big"}.get(head[:4])
    if order is None or head[8:12] not in {b"WAVE", b"AIFF", b"AIFC"}:
        return 0, 0
    while len(header := stream.read(_CHUNK_HEADER)) == _CHUNK_HEADER:
        length = int.from_bytes(header[4:], order)  # type: ignore[arg-type]
        if header[:4] in {b"data", b"SSND"}:
            held = size - stream.tell()
            return (0, held) if length in _STREAMED_SIZES else (length, held)
        stream.seek(length + length % 2, 1)
    return 0, 0
