"""What a header promises against what the file holds.

libsndfile shortens a take that is cut short without a word, and a player would never learn
that the end of a solo is gone.
"""

from pathlib import Path
from typing import BinaryIO

from batch.errors import TakeError
from batch.regular import open_regular, size_of, unreadable
from batch.sound.chunks import HEAD_BYTES, TooManyChunksError, kind_of, walk

STREAMED_SIZES = frozenset({0, 0xFFFFFFFF, 0x7FFFFFFF, 0x80000000, 2**64 - 1, 2**63 - 1})
"""Lengths that a program streaming to a pipe leaves in a header (common practice, no source).
CAF means "to the end of the file" by the last but one (Apple, Core Audio Format Specification 1.0)."""

_IN_DS64 = 0xFFFFFFFF
"""Length of a chunk that states it in the chunk ``ds64`` (EBU Tech 3306)."""

_ASF = bytes.fromhex("3026B2758E66CF11A6D900AA0062CE6C")
_ASF_PROPERTIES = bytes.fromhex("A1DCAB8C47A9CF118EE400C00C205365")
"""Header Object and File Properties Object (ASF specification 1.20.03, 3.1 and 3.2)."""
_ASF_HEADER_BYTES = 1 << 16


def refuse_cut_short(path: Path) -> None:
    """Refuse a file whose header promises more bytes of sound than follow it; TakeError."""
    try:
        with open_regular(path) as stream:
            promised, held = _promised_and_held(stream, size_of(stream))
    except OSError as error:
        raise unreadable(path, error) from error
    except TooManyChunksError as error:
        remedy = "its header is damaged: export it again from the original"
        raise TakeError(path, f"{error} before its sound", remedy) from error
    if promised > held:
        raise TakeError(
            path,
            f"is cut short: its header promises {promised:,} bytes of sound and {held:,} are there",
            "copy it again from the recorder, or export it again to keep what is there",
        )


def _promised_and_held(stream: BinaryIO, size: int) -> tuple[int, int]:
    """Return the byte count that the sound chunk states, and how many bytes follow it."""
    head = stream.read(HEAD_BYTES)
    if head[:4] == b".snd":  # AU states where its sound starts and how long it is
        start, stated = (int.from_bytes(head[at : at + 4], "big") for at in (4, 8))
        return (0, size) if stated in STREAMED_SIZES else (stated, max(size - start, 0))
    if head.startswith(_ASF):
        return _of_asf(head + stream.read(_ASF_HEADER_BYTES)), size
    kind = kind_of(head)
    if kind is None:
        return 0, 0
    long_size = 0
    for name, length in walk(stream, kind, size):
        if name == b"ds64":
            # EBU Tech 3306: sizes of the RIFF and of its sound, 8 bytes each, little-endian.
            long_size = int.from_bytes(stream.read(16)[8:], "little")
        elif name in {b"data", b"SSND"}:
            held = size - stream.tell()
            stated = long_size if length == _IN_DS64 and long_size else length
            return (0, held) if stated in STREAMED_SIZES else (stated, held)
    return 0, 0


def _of_asf(head: bytes) -> int:
    """Return the size of the file that an ASF header states; 0 for a broadcast, which knows none."""
    at = head.find(_ASF_PROPERTIES)
    stated, flags = (int.from_bytes(head[at + a : at + b], "little") for a, b in ((40, 48), (88, 92)))
    return 0 if at < 0 or flags & 1 else stated
