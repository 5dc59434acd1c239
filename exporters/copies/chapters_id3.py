"""Chapters in an ID3v2 tag: CHAP and CTOC frames ("ID3v2 Chapter Frame Addendum", C. Newell, 2005).

A tag keeps its version, 2.3 or 2.4, which the addendum both allows, and each of its frames byte for byte,
but for chapters it had. So nothing is lost that the other version has no word for.
"""

import re
import struct
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from io import BytesIO
from typing import BinaryIO

from mutagen.id3 import ID3

from batch.names import MADE_BY
from exporters.chapters.chapter import Chapter

HEADER_BYTES = 10
_VERSION = 4
"""Of a tag where there was none."""
_OLD_VERSION, _OLD_BYTES = 2, 2 << 20
"""Version 2.2 has other frames, which mutagen makes those of 2.3: of a tag of a sane size."""
_MOST_BYTES = (1 << 28) - 1
"""A tag's size has 28 bits (ID3v2.4, "Main Structure", 3.1)."""

_MOST_FRAMES = 100_000
"""Of a tag; no program writes so many (our choice)."""

_UNSYNCHRONISED, _EXTENDED, _FOOTER = 0x80, 0x40, 0x10
_FRAME_UNSYNCHRONISED = 0x02
"""Flags of a tag's header and of a frame (the same, 3.1 and 4.1.2)."""
_FRAME = re.compile(rb"[A-Z0-9]{3}[A-Z0-9 \x00]")

_NO_OFFSET = 0xFFFFFFFF
"""The bytes of a chapter are not stated, its time counts (addendum, 3.1)."""
_MOST_ENTRIES = 255
"""Of a table of contents, whose entry count has 8 bits (addendum, 3.2)."""
_ORDERED, _TOP_LEVEL = 0x01, 0x02
_LATIN_1 = b"\x00"


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame of a tag: its name, its two bytes of flags, and what it holds."""

    name: bytes
    flags: int
    body: bytes

    def as_bytes(self, version: int) -> bytes:
        """Return the frame as it stands in a tag of this version."""
        size = _sync_safe(len(self.body)) if version >= _VERSION else len(self.body).to_bytes(4, "big")
        return self.name + size + self.flags.to_bytes(2, "big") + self.body


def with_chapters(source: BinaryIO, size: int, chapters: Sequence[Chapter]) -> tuple[bytes, int]:
    """Return a tag with these chapters for a file of ``size`` bytes, and how many it stands in place of.

    Raises
    ------
    ValueError
        If the file has a tag that cannot be read.
    """
    version, frames, taken = _tag_of(source, size)
    kept = [frame for frame in frames if not _is_replaced(frame)]
    body = b"".join(frame.as_bytes(version) for frame in (*_chapter_frames(chapters, version), *kept))
    if len(body) > _MOST_BYTES:
        raise ValueError("too large")
    return b"ID3" + bytes([version, 0, 0]) + _sync_safe(len(body)) + body, taken


def _chapter_frames(chapters: Sequence[Chapter], version: int) -> Iterator[Frame]:
    """Yield who made the copy, the tables of contents, then the chapters as they lie."""
    yield Frame(b"TXXX", 0, _LATIN_1 + b"GENERATOR\x00" + MADE_BY.encode("ascii"))
    names = [f"chapter{number:04}" for number in range(1, len(chapters) + 1)]
    if chapters:
        yield from _tables(names, version)
    for name, chapter in zip(names, chapters, strict=True):
        times = struct.pack(">IIII", chapter.start_ms, chapter.end_ms, _NO_OFFSET, _NO_OFFSET)
        yield Frame(b"CHAP", 0, name.encode("ascii") + b"\x00" + times + _title(chapter.title, version))


def _tables(names: Sequence[str], version: int) -> Iterator[Frame]:
    """Yield a table of all chapters, or where they are more than it holds a table of tables."""
    if len(names) <= _MOST_ENTRIES:
        yield _table("chapters", names, _ORDERED | _TOP_LEVEL, "Chapters", version)
        return
    starts = range(0, len(names), _MOST_ENTRIES)
    parts = {f"chapters{start + 1:04}": names[start : start + _MOST_ENTRIES] for start in starts}
    yield _table("chapters", list(parts), _ORDERED | _TOP_LEVEL, "Chapters", version)
    for start, (part, entries) in zip(starts, parts.items(), strict=True):
        yield _table(part, entries, _ORDERED, f"{start + 1:04}-{start + len(entries):04}", version)


def _table(name: str, entries: Sequence[str], flags: int, title: str, version: int) -> Frame:
    listed = b"".join(entry.encode("ascii") + b"\x00" for entry in entries)
    counted = bytes([flags, len(entries)]) + listed
    return Frame(b"CTOC", 0, name.encode("ascii") + b"\x00" + counted + _title(title, version))


def _title(title: str, version: int) -> bytes:
    return Frame(b"TIT2", 0, _LATIN_1 + title.encode("ascii")).as_bytes(version)


def _is_replaced(frame: Frame) -> bool:
    if frame.name == b"TXXX":
        return frame.body.startswith((b"\x00GENERATOR\x00", b"\x03GENERATOR\x00"))
    return frame.name in {b"CHAP", b"CTOC"}


def _tag_of(source: BinaryIO, size: int) -> tuple[int, list[Frame], int]:
    """Return version, frames and size of the tag in front; a new version and size 0 where there is none."""
    source.seek(0)
    head = source.read(HEADER_BYTES)
    if not head.startswith(b"ID3") or len(head) < HEADER_BYTES:
        return _VERSION, [], 0
    version, flags, length = head[3], head[5], _from_sync_safe(head[6:])
    taken = HEADER_BYTES + length + (HEADER_BYTES if version == _VERSION and flags & _FOOTER else 0)
    if taken > size:
        raise ValueError("cut short")
    if version == _OLD_VERSION and length <= _OLD_BYTES:
        return 3, _made_newer(head + source.read(length)), taken
    if version not in {3, _VERSION}:
        raise ValueError(f"version 2.{version}")
    return version, list(_frames(source.read(length), version, flags)), taken


def _made_newer(tag: bytes) -> list[Frame]:
    old, new = ID3(), BytesIO()  # type: ignore[no-untyped-call]
    old.load(BytesIO(tag), v2_version=3, load_v1=False)
    old.save(new, v2_version=3, v23_sep=None, padding=lambda _: 0)
    return list(_frames(new.getvalue()[HEADER_BYTES:], 3, 0))


def _frames(content: bytes, version: int, flags: int) -> Iterator[Frame]:
    """Yield the frames of a tag, unsynchronisation of the whole undone or left to each (2.4)."""
    if version < _VERSION and flags & _UNSYNCHRONISED:
        content = content.replace(b"\xff\x00", b"\xff")
    start = _extended_bytes(content, version) if flags & _EXTENDED else 0
    per_frame = _FRAME_UNSYNCHRONISED if version >= _VERSION and flags & _UNSYNCHRONISED else 0
    # Some programs wrote sizes of 2.4 as those of 2.3.
    readings = (_from_sync_safe, _from_plain) if version >= _VERSION else (_from_plain,)
    found = next((found for read in readings if (found := _walk(content, start, read)) is not None), None)
    if found is None:
        raise ValueError("damaged")
    for frame in found:
        yield Frame(frame.name, frame.flags | per_frame, frame.body)


def _extended_bytes(content: bytes, version: int) -> int:
    """Return the length of the extended header, which counts itself in 2.4 and does not in 2.3."""
    return _from_sync_safe(content[:4]) if version >= _VERSION else 4 + _from_plain(content[:4])


def _walk(content: bytes, at: int, read_size: Callable[[bytes], int]) -> list[Frame] | None:
    """Return the frames up to the padding or the end; None if they do not fill it, or are too many."""
    found: list[Frame] = []
    while at < len(content) and content[at]:
        head = content[at : at + HEADER_BYTES]
        end = at + HEADER_BYTES + (read_size(head[4:8]) if len(head) == HEADER_BYTES else len(content))
        if end > len(content) or len(found) == _MOST_FRAMES or not _FRAME.fullmatch(head[:4]):
            return None
        found.append(Frame(head[:4], int.from_bytes(head[8:], "big"), content[at + HEADER_BYTES : end]))
        at = end
    return found


def _sync_safe(number: int) -> bytes:
    """Return 28 bits as four bytes whose highest bit is 0 (the same, 6.2)."""
    return bytes(number >> shift & 0x7F for shift in (21, 14, 7, 0))


def _from_sync_safe(content: bytes) -> int:
    """Return the number; one too large for any tag where it is none."""
    if any(byte & 0x80 for byte in content):
        return _MOST_BYTES + 1
    return sum(byte << shift for byte, shift in zip(content, (21, 14, 7, 0), strict=False))


def _from_plain(content: bytes) -> int:
    return int.from_bytes(content, "big")
