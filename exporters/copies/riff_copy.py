"""A WAV file written anew with some chunks left out and others added at its end, all else byte for byte.

Chunks that come after the sound shift nothing that lies before it. A form that what is added lifts over the
4 GiB of RIFF becomes RF64 (EBU Tech 3306): ``ds64`` comes first, in place of a chunk ``JUNK`` that keeps
room for it where there is one, and the 32-bit sizes of form and sound are -1,
as are those of other chunks whose sizes only its table holds.
"""

import struct
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import BinaryIO

from batch.errors import LaterError
from exporters.copies.riff_form import DS64_BYTES, LONG, Chunk, Form, framed

_BLOCK_BYTES = 1 << 20
_RESERVE, _LARGEST_RESERVE = b"JUNK", 1 << 16
"""Room for ``ds64``; larger ones are something else (our choice)."""
_TYPE_BYTES = 4
_PAD = b"\0"


@dataclass(frozen=True, slots=True)
class _Piece:
    """A chunk to be written: its content as bytes, or where it stands in the recording."""

    name: bytes
    content: bytes | Chunk

    @property
    def length(self) -> int:
        return self.content.length if isinstance(self.content, Chunk) else len(self.content)


def write_form(
    form: Form,
    source: BinaryIO,
    copy: BinaryIO,
    *,
    without: Collection[Chunk],
    added: Sequence[tuple[bytes, bytes]],
    frames: int,
) -> None:
    """Write a form without some chunks and with others, by name and content, at its end.

    ``frames`` says how many the sound has. Memory does not grow with the file.

    Raises
    ------
    LaterError
        If the recording has become shorter since its chunks were looked up.
    """
    sound = form.first(b"data")
    pieces = [_Piece(chunk.name, chunk) for chunk in form.chunks if chunk not in without]
    pieces += [_Piece(name, content) for name, content in added]
    is_long = form.is_long or _size(pieces) >= LONG
    if is_long:
        pieces = _with_long_sizes(pieces, form, frames)
    name = form.name if form.is_long or not is_long else b"RF64"
    copy.write(struct.pack("<4sI4s", name, LONG if is_long else _size(pieces), b"WAVE"))
    for piece in pieces:
        stated = LONG if is_long and (piece.content is sound or piece.length >= LONG) else piece.length
        copy.write(struct.pack("<4sI", piece.name, stated))
        for block in _blocks(form, source, piece):
            copy.write(block)
        copy.write(_PAD * (piece.length % 2))


def _size(pieces: Sequence[_Piece]) -> int:
    """Return the size that a form of these states."""
    return _TYPE_BYTES + sum(framed(piece.length) for piece in pieces)


def _with_long_sizes(pieces: Sequence[_Piece], form: Form, frames: int) -> list[_Piece]:
    """Return the pieces with ``ds64`` first; one that was there keeps its count of samples and its table."""
    first = pieces[0]
    room, rest, counts = DS64_BYTES, pieces, struct.pack("<Q", frames)
    if form.is_long:
        room, rest, counts = len(form.ds64), pieces[1:], form.ds64[16:]
    elif first.name == _RESERVE and DS64_BYTES <= first.length <= _LARGEST_RESERVE:
        room, rest = first.length, pieces[1:]
    size = _size([_Piece(b"ds64", _PAD * room), *rest])
    content = struct.pack("<QQ", size, form.first(b"data").length) + counts
    return [_Piece(b"ds64", content.ljust(room, _PAD)), *rest]


def _blocks(form: Form, source: BinaryIO, piece: _Piece) -> Iterator[bytes]:
    """Yield what a piece holds."""
    if isinstance(piece.content, bytes):
        yield piece.content
        return
    source.seek(piece.content.content_at)
    left = piece.content.length
    while left:
        block = source.read(min(left, _BLOCK_BYTES))
        if not block:
            raise LaterError(form.path, "changed while it was copied", "the next run copies it again")
        yield block
        left -= len(block)
