"""Chapters in an ID3v2.4 tag, by mutagen: CHAP and CTOC ("ID3v2 Chapter Frame Addendum", C. Newell, 2005).

What stands in an older tag becomes what 2.4 has for it; four frames of 2.3 have nothing there and are lost in
the copy: relative volume, equalisation, size and recording dates (RVAD, EQUA, TSIZ, TRDA; ID3v2.4 "Changes").
"""

import re
from collections.abc import Iterator, Sequence
from io import BytesIO
from typing import BinaryIO

from mutagen.id3 import CHAP, CTOC, ID3, TIT2, TXXX, CTOCFlags, Encoding, Frame

import batch.tags  # noqa: F401  bounds what mutagen unpacks
from batch.names import MADE_BY
from exporters.chapters.chapter import Chapter

_VERSION, _HEADER_BYTES, _FOOTER = 4, 10, 0x10
_SHIFTS, _LARGEST_SIZE = (21, 14, 7, 0), (1 << 28) - 1
"""A tag's header with its size in 28 bits, seven a byte, and the flag of a footer as long as the header
(ID3v2.4, "Main Structure", 3.1 and 3.4)."""

_MOST_BYTES, _MOST_FRAMES = 16 << 20, 20_000
"""Of a tag: covers are smaller, and no program writes so many frames (our choice); mutagen's time grows with
the product of both."""
_FRAME = re.compile(rb"[A-Z][A-Z0-9]{2}[A-Z0-9 \x00]")
"""Where a frame may begin, by its name; the fourth byte is its size's in version 2.2."""

_NO_OFFSET = 0xFFFFFFFF
"""The bytes of a chapter are not stated, its time counts (addendum, 3.1)."""
_MOST_ENTRIES = 255
"""Of a table of contents, whose entry count has 8 bits (addendum, 3.2)."""
_GENERATOR = "GENERATOR"


def with_chapters(source: BinaryIO, size: int, chapters: Sequence[Chapter]) -> tuple[bytes, int]:
    """Return a tag with these chapters for a file of ``size`` bytes, and how many it stands in place of.

    Raises
    ------
    ValueError, MutagenError
        If the file has a tag that cannot be read.
    """
    old = _tag_of(source, size)
    kept = ID3()
    if old:
        kept.load(BytesIO(old), load_v1=False)
    for name in ("CHAP", "CTOC", f"TXXX:{_GENERATOR}"):
        kept.delall(name)
    body = b"".join(map(_written, (*(_alone(frame) for frame in _frames(chapters)), kept)))
    if len(body) > _LARGEST_SIZE:
        raise ValueError("a tag larger than any")
    size_bytes = bytes(len(body) >> shift & 0x7F for shift in _SHIFTS)
    return b"ID3" + bytes([_VERSION, 0, 0]) + size_bytes + body, len(old)


def _alone(frame: Frame) -> ID3:
    """Return a tag of one frame: several mutagen sorts by size, and some players go by their order."""
    tag = ID3()
    tag.add(frame)
    return tag


def _written(tag: ID3) -> bytes:
    """Return the frames of a tag as bytes, none where it has none."""
    stream = BytesIO()
    tag.save(stream, v1=0, padding=lambda _: 0)
    return stream.getvalue()[_HEADER_BYTES:]


def _frames(chapters: Sequence[Chapter]) -> Iterator[Frame]:
    """Yield who made the copy, the tables of contents, then the chapters as they lie."""
    yield TXXX(encoding=Encoding.UTF8, desc=_GENERATOR, text=MADE_BY)
    names = [f"chapter{number:04}" for number in range(1, len(chapters) + 1)]
    if chapters:
        yield from _tables(names)
    for name, chapter in zip(names, chapters, strict=True):
        yield CHAP(
            element_id=name,
            start_time=chapter.start_ms,
            end_time=chapter.end_ms,
            start_offset=_NO_OFFSET,
            end_offset=_NO_OFFSET,
            sub_frames=[_title(chapter.title)],
        )


def _tables(names: Sequence[str]) -> Iterator[Frame]:
    """Yield a table of all chapters, or where they are more than it holds a table of tables."""
    top = CTOCFlags.TOP_LEVEL | CTOCFlags.ORDERED
    if len(names) <= _MOST_ENTRIES:
        yield _table("chapters", names, top, "Chapters")
        return
    starts = range(0, len(names), _MOST_ENTRIES)
    parts = {f"chapters{start + 1:04}": names[start : start + _MOST_ENTRIES] for start in starts}
    yield _table("chapters", list(parts), top, "Chapters")
    for start, (part, entries) in zip(starts, parts.items(), strict=True):
        yield _table(part, entries, CTOCFlags.ORDERED, f"{start + 1:04}-{start + len(entries):04}")


def _table(name: str, entries: Sequence[str], flags: int, title: str) -> Frame:
    return CTOC(element_id=name, flags=flags, child_element_ids=entries, sub_frames=[_title(title)])


def _title(title: str) -> Frame:
    return TIT2(encoding=Encoding.UTF8, text=title)


def _tag_of(source: BinaryIO, size: int) -> bytes:
    """Return the tag in front of a file, header and footer with it; nothing where there is none."""
    source.seek(0)
    head = source.read(_HEADER_BYTES)
    if len(head) < _HEADER_BYTES or not head.startswith(b"ID3"):
        return b""
    length = sum((byte & 0x7F) << shift for byte, shift in zip(head[6:], _SHIFTS, strict=True))
    if head[3] == _VERSION and head[5] & _FOOTER:
        length += _HEADER_BYTES
    if length > min(size - _HEADER_BYTES, _MOST_BYTES):
        raise ValueError("a tag larger than its file, or than any")
    tag = head + source.read(length)
    if sum(1 for _ in _FRAME.finditer(tag)) > _MOST_FRAMES:
        raise ValueError("more frames than any tag has")
    return tag
