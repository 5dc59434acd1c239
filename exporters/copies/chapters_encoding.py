"""A recording that holds no chapters encoded anew, block by block, as FLAC or Ogg Vorbis by libsndfile."""

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Literal

import numpy as np
import soundfile

from batch.errors import TakeError
from batch.regular import open_regular
from batch.sound import Sound, open_sound
from batch.sound.hush import hushed

Encoding = Literal["flac", "ogg"]

_VORBIS_FRAMES = 4096
"""Encoded at once: libsndfile's Vorbis encoder fills the stack with what it is given and crashes on much."""

_MOST_VORBIS_RATE_HZ = 200_000
"""libvorbis has no setup above, and libsndfile crashes as it closes such a file (measured with 1.2.2)."""

_SIXTEEN_BIT = frozenset(
    {"PCM_16", "PCM_S8", "PCM_U8", "ULAW", "ALAW", "ALAC_16", "DPCM_8", "DPCM_16", "DWVW_12", "DWVW_16"}
    | {"IMA_ADPCM", "MS_ADPCM", "GSM610", "VOX_ADPCM", "G721_32", "G723_24", "G723_40"}
)
"""Codings by libsndfile's names that 16 bits hold whole, or that were never finer."""

_MOST_FLAC_CHANNELS = 8

_TRIED_BYTES, _TRIED_WRITES = 1 << 16, 2
"""Written to a disk that may be full: the first may still find room for a part, the second does not."""


def encode(recording: Path, encoding: Encoding, copy: BinaryIO) -> None:
    """Write all channels of ``recording`` to ``copy``.

    FLAC has 16 bits where the recording has no more, else 24: whole numbers come out as they went in, of
    32 bits and floating point what is finer is rounded, and what stands over full scale is cut off there,
    as when it is played.

    Raises
    ------
    TakeError
        If the recording cannot be read to its end, or has more channels or samples a second than the format.
    """
    sound = open_sound(recording)
    if encoding == "flac":
        _encode_flac(sound, 16 if _fits_16_bits(recording) else 24, copy)
    else:
        _encode_ogg(sound, copy)


def _encode_flac(sound: Sound, bits: int, copy: BinaryIO) -> None:
    if sound.channels > _MOST_FLAC_CHANNELS:
        problem = f"has {sound.channels} channels, and FLAC holds {_MOST_FLAC_CHANNELS}"
        raise TakeError(sound.path, problem, 'set encode to "ogg" under [chapters]')
    kind, shift = (np.int16, 0) if bits == 16 else (np.int32, 8)  # noqa: PLR2004
    full = 2 ** (bits - 1)
    with _writing(sound, copy, "FLAC", f"PCM_{bits}", "ogg") as file:
        for block in sound.blocks():
            _refuse_nonsense(block, sound.path)
            whole = np.rint(np.clip(block, -1, 1) * np.float32(full))
            file.write(np.minimum(whole, full - 1).astype(kind) << shift)


def _encode_ogg(sound: Sound, copy: BinaryIO) -> None:
    if sound.rate_hz > _MOST_VORBIS_RATE_HZ:
        problem = f"has {sound.rate_hz:,} samples a second, and Ogg Vorbis holds {_MOST_VORBIS_RATE_HZ:,}"
        raise TakeError(sound.path, problem, 'set encode to "flac" under [chapters]')
    with _writing(sound, copy, "OGG", "VORBIS", "flac") as file:
        for block in sound.blocks():
            _refuse_nonsense(block, sound.path)
            for start in range(0, len(block), _VORBIS_FRAMES):
                file.write(block[start : start + _VORBIS_FRAMES])


def _refuse_nonsense(block: np.ndarray, path: Path) -> None:
    if not np.isfinite(block).all():
        problem = "holds samples that are not numbers (NaN or infinity)"
        raise TakeError(path, problem, "export it again from the recording program")


def _fits_16_bits(recording: Path) -> bool:
    """Return whether no sample of the recording is finer than 16 bits, by how it is coded."""
    try:
        with open_regular(recording) as stream, hushed():
            return soundfile.SoundFile(stream.fileno(), closefd=False).subtype in _SIXTEEN_BIT
    except soundfile.SoundFileError:
        return _is_16_bit_track(recording)


def _is_16_bit_track(recording: Path) -> bool:
    # Imported here: libav takes a while to load, and most takes do without it.
    from batch.sound.libav import decoded, opened  # noqa: PLC0415

    with opened(recording) as container:
        for frame in decoded(container, container.streams.audio[0], recording):
            return frame.format.bytes <= 2  # noqa: PLR2004
    return False


@contextmanager
def _writing(
    sound: Sound, copy: BinaryIO, container: str, coding: str, other: Encoding
) -> Iterator[soundfile.SoundFile]:
    """Open ``copy``, an empty file, to be encoded into; what libsndfile refuses becomes a TakeError.

    libsndfile writes to the file itself: what is raised in a stream that it calls, Ctrl-C too, it drops.
    """
    try:
        with soundfile.SoundFile(
            copy.fileno(),
            "w",
            sound.rate_hz,
            sound.channels,
            format=container,
            subtype=coding,
            closefd=False,
        ) as file:
            yield file
            written = file.frames
    except (soundfile.SoundFileError, AssertionError) as error:
        _raise_if_full(copy)
        name = "FLAC" if container == "FLAC" else "Ogg Vorbis"
        problem = f"cannot be encoded as {name} ({sound.rate_hz:,} Hz, {sound.channels} channels)"
        raise TakeError(sound.path, problem, f'set encode to "{other}" under [chapters]') from error
    if not _holds(copy, written):
        _raise_if_full(copy)
        raise OSError(errno.EIO, "the encoding was not written whole")


def _raise_if_full(copy: BinaryIO) -> None:
    """Write some more to a file that is given up, for the system to say what hinders; OSError."""
    os.lseek(copy.fileno(), 0, os.SEEK_END)
    for _ in range(_TRIED_WRITES):
        os.write(copy.fileno(), bytes(_TRIED_BYTES))


def _holds(copy: BinaryIO, frames: int) -> bool:
    """Return whether an encoding goes to its end: libsndfile does not say that its last write failed."""
    if not frames:
        return True
    os.lseek(copy.fileno(), 0, os.SEEK_SET)
    try:
        with hushed(), soundfile.SoundFile(copy.fileno(), closefd=False) as file:
            file.seek(frames - 1)
            return len(file.read(1)) == 1
    except soundfile.SoundFileError:
        return False
