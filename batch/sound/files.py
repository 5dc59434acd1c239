"""Sound files by libsndfile: WAV and its 64-bit kin, AIFF, CAF, FLAC, Ogg, MP3, AU and older ones."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile

from batch.errors import TakeError
from batch.regular import open_regular, unreadable
from batch.sound.hush import hushed
from batch.sound.model import (
    COPY_AGAIN,
    EIGHT_BIT,
    EXPORT_AGAIN,
    FLOATING,
    PLAIN,
    Floats,
    FullScale,
    UnknownSoundError,
    block_frames,
    breaks_off,
)

LOOSE_FORMATS = frozenset({"MP3", "OGG"})
"""Formats whose header only estimates the length."""

LOOSE_CODINGS = frozenset({"MPEG_LAYER_I", "MPEG_LAYER_II", "MPEG_LAYER_III"})
"""The same for MP3 in a WAV."""

MOST_FRAMES_A_BYTE = {"MP3": 48, "OGG": 4096}
"""More is no sound: MP3 has 8 kbit/s at least, Ogg a byte of lacing for a packet and one in it."""

UNKNOWN_FRAMES = 2**63 - 1
"""Length that libsndfile gives a streamed FLAC, which states none and which it cannot read (SF_COUNT_MAX)."""

_NO_FILE = "File does not exist"
"""libsndfile's word for some broken contents of files that are there."""

_FULL_SCALES = {
    "FLOAT": FLOATING,
    "DOUBLE": FLOATING,
    "PCM_S8": EIGHT_BIT,
    "PCM_U8": EIGHT_BIT,
    "ULAW": EIGHT_BIT,
    "ALAW": EIGHT_BIT,
}


@dataclass(frozen=True, slots=True)
class FileSound:
    """A file that libsndfile reads. A loose one states no exact length."""

    path: Path
    frames: int
    rate_hz: int
    channels: int
    full_scale: FullScale
    loose: bool
    remarks: tuple[str, ...] = ()

    def blocks(self) -> Iterator[Floats]:
        """Yield the sound from its start as (n, channels); TakeError if it breaks off."""
        frames = block_frames(self.channels)
        left = self.frames
        with _opened(self.path) as sound:
            while len(block := _read(sound, frames, self.path)):
                left -= len(block)
                yield block
        if left > 0 and not self.loose:
            raise breaks_off(self.path, left / self.rate_hz)

    def stretches(self, starts: Sequence[int], length: int) -> Iterator[Floats]:
        """Yield up to ``length`` frames from each of ``starts``; fewer or none where the file is damaged."""
        with _opened(self.path) as sound:
            for start in starts:
                try:
                    with hushed():
                        sound.seek(start)
                        block = sound.read(length, dtype="float32", always_2d=True)
                except soundfile.SoundFileError:
                    return  # the reading proper meets the same place and says what is wrong
                yield block


def open_file(path: Path) -> FileSound:
    """Read the header of a sound file.

    Raises
    ------
    UnknownSoundError
        If libsndfile does not know the content, or cannot read this kind of it.
    TakeError
        If the system will not let us read the file.
    """
    with _opened(path) as sound:
        if sound.frames == UNKNOWN_FRAMES:
            raise UnknownSoundError(path, "was streamed and does not state its length", EXPORT_AGAIN)
        if sound.subtype == "OPUS":
            # libav decodes it too, in less than half the time.
            raise UnknownSoundError(path, "is an Opus file that cannot be read", EXPORT_AGAIN)
        most = MOST_FRAMES_A_BYTE.get(sound.format, UNKNOWN_FRAMES) * path.stat().st_size
        if sound.frames > most:
            stated_s = sound.frames / max(sound.samplerate, 1)
            problem = f"states a length of {stated_s:,.0f} s, too much for its size"
            raise TakeError(path, problem, "its header is damaged: export it again from the original")
        return FileSound(
            path=path,
            frames=sound.frames,
            rate_hz=sound.samplerate,
            channels=sound.channels,
            full_scale=_FULL_SCALES.get(sound.subtype, PLAIN),
            loose=sound.format in LOOSE_FORMATS or sound.subtype in LOOSE_CODINGS,
        )


@contextmanager
def _opened(path: Path) -> Iterator[soundfile.SoundFile]:
    """Open a sound file; libsndfile's complaints become a :class:`UnknownSoundError`.

    By its number, not as a stream: a stream prints a traceback when libsndfile seeks nonsense.
    """
    try:
        with open_regular(path) as file:
            with hushed():
                sound = soundfile.SoundFile(file.fileno(), closefd=False)
            with sound:
                yield sound
    except OSError as error:
        raise unreadable(path, error) from error
    except soundfile.SoundFileError as error:
        problem = f"is no sound file that can be read ({_reason(error)})"
        raise UnknownSoundError(path, problem, EXPORT_AGAIN) from error


def _read(sound: soundfile.SoundFile, frames: int, path: Path) -> Floats:
    """Return the next block, shape (n, channels); n is 0 at the end."""
    try:
        with hushed():
            return np.asarray(sound.read(frames, dtype="float32", always_2d=True))
    except soundfile.SoundFileError as error:
        raise TakeError(path, f"breaks off before its end ({_reason(error)})", COPY_AGAIN) from error


def _reason(error: soundfile.SoundFileError) -> str:
    """Return libsndfile's own words without our stream's repr."""
    text = str(getattr(error, "error_string", error))
    if text.startswith(_NO_FILE):
        return "unknown format"
    return text.removeprefix("Error : ").strip().rstrip(".") or "unknown format"
