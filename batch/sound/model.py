"""What every reader of sound gives, and the limits all of them keep."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from batch.errors import TakeError

Floats = NDArray[np.float32]

BLOCK_FRAMES = 1 << 17
"""Frames read at once: about 3 s at 44.1 kHz, a megabyte in stereo."""

BLOCK_SAMPLES = 1 << 22
"""Samples of all channels read at once at most: 16 MiB."""

RATE_LIMITS_HZ = (4_000, 768_000)
"""Half the rate of a telephone, twice the highest of studio recorders; all else is a broken header."""

MOST_CHANNELS = 128
"""Twice the channels of a MADI line (AES10); more is a broken header."""

COPY_AGAIN = "copy it again from the recorder"
EXPORT_AGAIN = "export it again as WAV or FLAC"


class UnknownSoundError(TakeError):
    """libsndfile does not know the content; another reader may."""


@dataclass(frozen=True, slots=True)
class FullScale:
    """Levels between which a sample counts as pressed against full scale."""

    lowest: float = 0.9999
    highest: float = float("inf")


PLAIN = FullScale()
FLOATING = FullScale(highest=1.0001)  # float samples may rise above 1 unharmed; cut off ones stand at 1
EIGHT_BIT = FullScale(lowest=0.98)  # the top step of 8 bits is 0.992, of mu-law 0.980


class Sound(Protocol):
    """The sound in one file. ``frames`` is what the file states, or what a count found."""

    @property
    def path(self) -> Path: ...
    @property
    def frames(self) -> int: ...
    @property
    def rate_hz(self) -> int: ...
    @property
    def channels(self) -> int: ...
    @property
    def full_scale(self) -> FullScale: ...
    @property
    def remarks(self) -> tuple[str, ...]: ...

    def blocks(self) -> Iterator[Floats]:
        """Yield the sound from its start as (n, channels), -1..1; TakeError if it breaks off."""

    def stretches(self, starts: Sequence[int], length: int) -> Iterator[Floats]:
        """Yield up to ``length`` frames (n, channels) from near each of ``starts``; none where that fails."""


def block_frames(channels: int) -> int:
    """Return how many frames to read at once."""
    return min(BLOCK_FRAMES, BLOCK_SAMPLES // channels)


def breaks_off(path: Path, missing_s: float) -> TakeError:
    """Return the error for sound that ends before its header says."""
    return TakeError(path, f"breaks off {missing_s:,.1f} s before the end that its header states", COPY_AGAIN)
