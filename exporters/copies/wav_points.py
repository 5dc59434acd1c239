"""Cue points of a WAV file and the words that go with them, as bytes: theirs read, ours added.

Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991), chapter 3: "Cue-Points
Chunk" (``cue ``) and "Associated Data Chunk" (``LIST`` of type ``adtl`` with ``labl``, ``note``, ``ltxt``).
The purpose ``rgn `` of a text with a length marks a region (common practice, no source: the standard leaves
purposes open).
"""

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from typing import BinaryIO

from batch.errors import TakeError
from exporters.copies.riff_form import HEADER_BYTES, Chunk, Form, content_of, framed, is_name
from exporters.copies.wav_marks import Mark
from exporters.copies.wav_sound import WavSound

_POINT = struct.Struct("<II4sIII")
"""Name (a number), position in the play order, chunk, start of chunk, start of block, offset in block."""
_RANGE = struct.Struct("<II4sHHHH")
"""Name, length in samples, purpose; country, language, dialect and code page, 0 for none indicated."""
_REGION = b"rgn "
_FIELD = struct.Struct("<I")

_MOST_BYTES = 1 << 22
"""Of cue points that a recording has, or of their words: 170,000 points (our choice)."""
_LARGEST = 0xFFFFFFFF

_UNREADABLE = "open it in the program that wrote them and export it again, or use its cue list"


@dataclass(frozen=True, slots=True)
class Points:
    """Entries of the table of cue points, and chunks of the associated list, padded."""

    table: bytes = b""
    words: bytes = b""

    def chunks(self) -> tuple[tuple[bytes, bytes], tuple[bytes, bytes]]:
        """Return both chunks by name and content."""
        points = len(self.table) // _POINT.size
        return (b"cue ", _FIELD.pack(points) + self.table), (b"LIST", b"adtl" + self.words)

    def names(self) -> set[int]:
        """Return the numbers in use."""
        named = {name for name, *_ in _POINT.iter_unpack(self.table)}
        return named | {_FIELD.unpack_from(content)[0] for _, content in _entries(self.words)}

    def with_marks(self, marks: Sequence[Mark], sound: WavSound) -> "Points":
        """Return these and after them a point for each mark, by numbers that nobody has.

        Their list of words is kept whole, our labels before it and our regions behind: the standard asks for
        no order, and libsndfile 1.2 reads no label that comes after a text with a length.
        """
        taken, rate_hz = self.names(), sound.rate_hz
        free = (number for number in count(1) if number not in taken)
        numbered = list(zip(marks, free, strict=False))
        points = b"".join(_point(number, mark.frame(rate_hz), sound) for mark, number in numbered)
        labels = b"".join(_label(number, mark.name) for mark, number in numbered)
        regions = b"".join(
            _region(number, mark.length(rate_hz)) for mark, number in numbered if mark.end_s is not None
        )
        return Points(self.table + points, labels + self.words + regions)


def first_out_of_reach(marks: Sequence[Mark], sound: WavSound) -> Mark | None:
    """Return the first mark whose position does not go into 32 bits."""
    for mark in marks:
        frame = mark.frame(sound.rate_hz)
        if max(frame, mark.length(sound.rate_hz), *sound.place(frame)) > _LARGEST:
            return mark
    return None


def read_points(form: Form, stream: BinaryIO) -> tuple[Points, frozenset[Chunk]]:
    """Return the cue points that a recording has, and the chunks that hold them.

    Raises
    ------
    TakeError
        If they are malformed: they would be lost, or ours would not be found among them.
    """
    tables = [chunk for chunk in form.chunks if chunk.name == b"cue "]
    lists = [chunk for chunk in form.chunks if chunk.name == b"LIST" and _type(chunk, stream) == b"adtl"]
    if len(tables) > 1:
        raise _malformed(form, "more than one table of them")
    if sum(chunk.length for chunk in lists) > _MOST_BYTES:
        raise _malformed(form, "more labels than any program writes")
    table = b"".join(_table(form, stream, chunk) for chunk in tables)
    words = b"".join(_words(form, stream, chunk) for chunk in lists)
    return Points(table, words), frozenset([*tables, *lists])


def _point(number: int, frame: int, sound: WavSound) -> bytes:
    return _POINT.pack(number, frame, b"data", 0, *sound.place(frame))


def _label(number: int, name: str) -> bytes:
    return _chunk(b"labl", _FIELD.pack(number) + name.encode("ascii") + b"\0")


def _region(number: int, frames: int) -> bytes:
    return _chunk(b"ltxt", _RANGE.pack(number, frames, _REGION, 0, 0, 0, 0))


def _chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack("<4sI", name, len(content)) + content + b"\0" * (len(content) % 2)


def _type(chunk: Chunk, stream: BinaryIO) -> bytes:
    stream.seek(chunk.content_at)
    return stream.read(min(chunk.length, 4))


def _table(form: Form, stream: BinaryIO, chunk: Chunk) -> bytes:
    content = content_of(form, stream, chunk, _MOST_BYTES)
    stated = int.from_bytes(content[: _FIELD.size], "little")
    held, over = divmod(len(content) - _FIELD.size, _POINT.size)
    if over or held != stated:
        raise _malformed(form, f"a table that states {stated:,} and has room for {max(held, 0):,}")
    return content[_FIELD.size :]


def _words(form: Form, stream: BinaryIO, chunk: Chunk) -> bytes:
    content = content_of(form, stream, chunk, _MOST_BYTES)[len(b"adtl") :]
    content += b"\0" * (len(content) % 2)
    if sum(framed(len(entry)) for _, entry in _entries(content)) != len(content):
        raise _malformed(form, "a list of labels that is cut short or damaged")
    return content


def _entries(words: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Yield name and content of each whole chunk in a list, up to one that is not."""
    at = 0
    while at + HEADER_BYTES <= len(words):
        name, length = struct.unpack_from("<4sI", words, at)
        start = at + HEADER_BYTES
        if not is_name(name) or not _FIELD.size <= length <= len(words) - start:
            return
        yield name, words[start : start + length]
        at += framed(length)


def _malformed(form: Form, what: str) -> TakeError:
    return TakeError(form.path, f"has cue points of its own that are malformed ({what})", _UNREADABLE)
