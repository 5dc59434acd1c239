"""Bounds on what mutagen reads of a file's tags: bytes may state anything, and it believes them.

It offers no limits of its own, so that some of its functions are replaced by ones that count first. Whoever
imports this has them.
"""

import struct
import zlib
from collections.abc import Iterator
from io import SEEK_CUR, BytesIO
from typing import Any

import mutagen
from mutagen._vorbis import VComment
from mutagen.id3 import _frames as id3_frames
from mutagen.id3 import _tags as id3_tags

_MOST_UNPACKED_BYTES = 1 << 20
"""Of a packed ID3 frame; texts are smaller, and pictures are not looked at (our choice)."""
_MOST_FRAMES, _MOST_MOVED_BYTES = 20_000, 1 << 36
"""Of an ID3 tag, chapters inside chapters counted too: no program writes so many frames. At each of them
mutagen copies what is left of the tag, so its time grows with the product (our choice: some seconds)."""
_MOST_COMMENTS = 100_000
"""Of a FLAC or Ogg file: no program writes so many (our choice)."""

BROKEN = (
    mutagen.MutagenError,
    OSError,
    ValueError,
    EOFError,
    LookupError,
    TypeError,
    struct.error,
    AssertionError,
    RecursionError,
)
"""What mutagen raises on damaged tags."""


class TooLargeTagsError(ValueError):
    """Tags that take too long, or too much memory, to be read; says what there is too much of."""


class _SparingZlib:
    """zlib for mutagen's ID3 frames, which takes whatever comes out: a kilobyte may become a gigabyte."""

    error = zlib.error

    @staticmethod
    def decompress(content: bytes) -> bytes:
        """Return what ``content`` unpacks to; zlib.error if that is too much."""
        unpacker = zlib.decompressobj()
        unpacked = unpacker.decompress(content, _MOST_UNPACKED_BYTES)
        if not unpacker.eof:
            raise zlib.error("is broken, or unpacks to too much")
        return unpacked


id3_frames.zlib = _SparingZlib  # type: ignore[attr-defined,assignment]

_read_any_frames = id3_tags.read_frames


def _read_few_frames(header: Any, data: bytes, known: Any) -> Any:
    """Read frames as mutagen does, if it is done with them in seconds; TooLargeTagsError.

    What was counted is kept at the header, which a chapter's frames have in common with their tag's.
    """
    # Unsynchronised, a tag holds zeros that are taken out before it is read (ID3v2.3, 5).
    read_as = [data, data.replace(b"\xff\0", b"\xff")] if header.f_unsynch else [data]
    found = [list(_left(each, *sizes)) for each in read_as for sizes in _sizes(header)]
    frames, moved = getattr(header, "counted", (0, 0))
    header.counted = frames + max(map(len, found)), moved + max(map(sum, found))
    if header.counted[0] > _MOST_FRAMES:
        raise TooLargeTagsError(f"of more than {_MOST_FRAMES:,} frames")
    if header.counted[1] > _MOST_MOVED_BYTES:
        raise TooLargeTagsError(f"of {len(data) >> 20:,} MiB in many frames")
    return _read_any_frames(header, data, known)  # type: ignore[no-untyped-call]


def _sizes(header: Any) -> tuple[tuple[int, int, int, int], ...]:
    """Return where in a frame's header its size begins and ends, the flags' bytes, and a byte's bits.

    Version 2.4 has seven bits, and some programs write eight there; mutagen guesses.
    """
    if header.version < (2, 3, 0):
        return ((3, 6, 0, 8),)
    return ((4, 8, 2, 8),) if header.version < (2, 4, 0) else ((4, 8, 2, 8), (4, 8, 2, 7))


def _left(data: bytes, start: int, end: int, flag_bytes: int, bits: int) -> Iterator[int]:
    """Yield how many bytes are left behind each frame, up to one frame too many."""
    at, header_bytes = 0, end + flag_bytes
    for _ in range(_MOST_FRAMES + 1):
        head = data[at : at + header_bytes]
        if len(head) < header_bytes or not head[:start].strip(b"\0"):
            return
        size = 0
        for byte in head[start:end]:
            size = size << bits | byte & ((1 << bits) - 1)
        at += header_bytes + size
        yield max(0, len(data) - at)


# Chapters read theirs by it too.
id3_tags.read_frames = _read_few_frames

_load_any_comments = VComment.load


def _load_few_comments(comments: VComment, stream: BytesIO, *how: Any, **named: Any) -> None:
    """Read Vorbis comments as mutagen does, which keeps each many times over; TooLargeTagsError."""
    start = stream.tell()
    vendor_bytes = int.from_bytes(stream.read(4), "little")
    stream.seek(vendor_bytes, SEEK_CUR)
    if int.from_bytes(stream.read(4), "little") > _MOST_COMMENTS:
        raise TooLargeTagsError(f"of more than {_MOST_COMMENTS:,} comments")
    stream.seek(start)
    _load_any_comments(comments, stream, *how, **named)  # type: ignore[no-untyped-call]


VComment.load = _load_few_comments  # type: ignore[method-assign,assignment]
