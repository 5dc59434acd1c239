"""Chapters in an ID3v2.4 tag, by mutagen: CHAP and CTOC ("ID3v2 Chapter Frame Addendum", C. Newell, 2005).

What stands in an older tag becomes what 2.4 has for it; four frames of 2.3 have nothing there and are lost in
the copy: relative volume, equalisation, size and recording dates (RVAD, EQUA, TSIZ, TRDA; ID3v2.4 "Changes").
"""

from collections.abc import Iterator, Sequence
from io import BytesIO
from typing import BinaryIO

from mutagen.id3 import CHAP, CTOC, ID3, TIT2, TXXX, CTOCFlags, Encoding, Frame, Frames

from batch.names import MADE_BY
from batch.tag_bounds import TooLargeTagsError  # which bounds what mutagen reads, too
from exporters.chapters.chapter import Chapter

_VERSION, _OLDEST, _HEADER_BYTES, _FOOTER = 4, 2, 10, 0x10
_SHIFTS, _LARGEST_SIZE = (21, 14, 7, 0), (1 << 28) - 1
"""A tag's header with its size in 28 bits, seven a byte, and the flag of a footer as long as the header
(ID3v2.4, "Main Structure", 3.1 and 3.4)."""

_MOST_BYTES, _MOST_TAGS = 32 << 20, 8
"""Of all tags in front of a file: covers are smaller, and two are there by mistake (our choice)."""
_REPLACED = ("CHAP", "CTOC")
_KNOWN = {name: kind for name, kind in Frames.items() if name not in _REPLACED}
"""Frames that are read; of chapters, which give way, no more than their bytes are."""
_PACKED_2_3, _KEPT_FLAGS, _UNSYNCHRONISED = 0x00FF, 0x7000, 0x0002
"""Flags of a frame: in 2.3 (3.3.1) those of how it is packed; in 2.4 (4.1.1) those of what becomes of it,
which are the same three one bit lower, and that of its own unsynchronisation (4.1.2)."""

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
    kept, length = _read(source, size)
    made_by = [MADE_BY, *_made_by_others(kept)]
    kept.delall(f"TXXX:{_GENERATOR}")
    body = b"".join(map(_written, (*(_alone(frame) for frame in _frames(chapters, made_by)), kept)))
    if len(body) > _LARGEST_SIZE:
        raise ValueError("a tag larger than any")
    size_bytes = bytes(len(body) >> shift & 0x7F for shift in _SHIFTS)
    return b"ID3" + bytes([_VERSION, 0, 0]) + size_bytes + body, length


def _made_by_others(tag: ID3) -> Iterator[str]:
    """Yield what others wrote where who made the copy is told: there is one such frame (ID3v2.4, 4.2.6)."""
    for frame in tag.getall(f"TXXX:{_GENERATOR}"):
        yield from (text for text in frame.text if text != MADE_BY)


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


def _frames(chapters: Sequence[Chapter], made_by: Sequence[str]) -> Iterator[Frame]:
    """Yield who made the copy, the tables of contents, then the chapters as they lie."""
    yield TXXX(encoding=Encoding.UTF8, desc=_GENERATOR, text=made_by)
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


def _read(source: BinaryIO, size: int) -> tuple[ID3, int]:
    """Return what the tags in front of a file hold, and their length; the first one's word counts."""
    kept, at = ID3(), 0
    for _ in range(_MOST_TAGS):
        content = _tag_at(source, at, size)
        if not content:
            return kept, at
        at += len(content)
        tag = ID3()
        tag.load(BytesIO(content), load_v1=False, known_frames=_KNOWN if content[3] > _OLDEST else None)
        held = {frame[:4] for frame in kept.unknown_frames}
        kept.unknown_frames += [frame for frame in _unknown(tag) if frame[:4] not in held]
        for key, frame in tag.items():
            if key not in kept:
                kept.add(frame)
    raise TooLargeTagsError(f"of more than {_MOST_TAGS} sorts, one after another")


def _unknown(tag: ID3) -> Iterator[bytes]:
    """Yield frames that mutagen knows nothing of, as version 2.4 has them, but for chapters.

    Of 2.3 those that are packed, which 2.4 says otherwise, are left out; names of 2.2 have no place there.
    """
    for frame in tag.unknown_frames:
        name, content = frame[:4], frame[_HEADER_BYTES:]
        flags = int.from_bytes(frame[8:_HEADER_BYTES], "big")
        if name.decode("latin-1") in _REPLACED or tag.version < (2, 3, 0):
            continue
        if tag.version < (2, 4, 0):
            if flags & _PACKED_2_3:
                continue
            flags = flags >> 1 & _KEPT_FLAGS
        elif tag.f_unsynch:
            flags |= _UNSYNCHRONISED
        size_bytes = bytes(len(content) >> shift & 0x7F for shift in _SHIFTS)
        yield name + size_bytes + flags.to_bytes(2, "big") + content


def _tag_at(source: BinaryIO, at: int, size: int) -> bytes:
    """Return the tag at a place, header and footer with it; nothing where there is none."""
    source.seek(at)
    head = source.read(_HEADER_BYTES)
    if len(head) < _HEADER_BYTES or not head.startswith(b"ID3"):
        return b""
    length = sum((byte & 0x7F) << shift for byte, shift in zip(head[6:], _SHIFTS, strict=True))
    if head[3] == _VERSION and head[5] & _FOOTER:
        length += _HEADER_BYTES
    if length > size - at - _HEADER_BYTES:
        raise ValueError("a tag larger than its file")
    if at + length > _MOST_BYTES:
        raise TooLargeTagsError(f"of more than {_MOST_BYTES >> 20} MiB")
    return head + source.read(length)
