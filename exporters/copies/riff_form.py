"""The chunks of a WAV file with every byte accounted for, so that a copy loses none.

Multimedia Programming Interface and Data Specifications 1.0 (IBM and Microsoft, 1991), chapter 2: "RIFF";
EBU Tech 3306 (RF64) and ITU-R BS.2088 (BW64) for files whose sizes have 64 bits.

Real files depart from it. As where takes are heard, sound whose length was left open goes to the end of the
file. A pad byte that a program forgot after an odd chunk is no harm. Chunks that lie behind the end that
the header states belong to the form if they are whole, since programs that append some forget to raise that;
other bytes there, and zeros, are no chunks and no part of the form.
"""

import struct
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from batch.errors import TakeError
from batch.sound.chunks import MOST_CHUNKS, TooManyChunksError
from batch.sound.promises import STREAMED_SIZES

HEADER_BYTES = 8
"""Of a chunk: its name and the size of its content, which has 32 bits."""
FORM_BYTES = 12
"""Name, size and type of the form."""
LONG = 0xFFFFFFFF
"""Size of what states its size in ``ds64`` (EBU Tech 3306)."""
DS64_BYTES = 28
"""Of ``ds64``: sizes of form and sound and a count of samples, 8 bytes each, and the length of a table."""

DAMAGED = "its header is damaged: export it again from the original"

_RIFF, _LONG_FORMS = b"RIFF", frozenset({b"RF64", b"BW64"})
_ROW = struct.Struct("<4sQ")
"""Of the table in ``ds64``: a chunk's name and its size in 8 bytes."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Where a chunk's header begins in the file, and the length of its content in bytes, without the pad."""

    name: bytes
    at: int
    length: int

    @property
    def content_at(self) -> int:
        """Where its content begins."""
        return self.at + HEADER_BYTES

    @property
    def end(self) -> int:
        """Where its content ends; a pad byte follows if that is odd."""
        return self.content_at + self.length


@dataclass(frozen=True, slots=True)
class Form:
    """A form of type WAVE: RIFF, or with 64 bits RF64 or BW64. ``ds64`` is the content of the chunk."""

    path: Path
    name: bytes
    chunks: tuple[Chunk, ...]
    ds64: bytes = b""

    @property
    def is_long(self) -> bool:
        """Whether its sizes have 64 bits."""
        return self.name in _LONG_FORMS

    def first(self, name: bytes) -> Chunk:
        """Return the first chunk of a name; TakeError."""
        for chunk in self.chunks:
            if chunk.name == name:
                return chunk
        raise TakeError(self.path, f"lacks its chunk '{name.decode()}'", DAMAGED)


def framed(length: int) -> int:
    """Return the bytes of a chunk with ``length`` bytes of content, its header and its pad."""
    return HEADER_BYTES + length + length % 2


def read_form(path: Path, stream: BinaryIO, size: int) -> Form:
    """Find all chunks of a WAV file of ``size`` bytes, in order.

    Raises
    ------
    TakeError
        If it is none, a chunk is cut short, or there are more than any program writes.
    """
    stream.seek(0)
    head = stream.read(FORM_BYTES)
    name = head[:4]
    if name not in {_RIFF, *_LONG_FORMS} or head[8:] != b"WAVE":
        problem = "holds no RIFF WAVE, whatever its name says"
        raise TakeError(path, problem, "export it as WAV from the recording program")
    ds64 = _ds64(path, stream) if name in _LONG_FORMS else b""
    try:
        chunks = tuple(_walk(stream, size, _long_sizes(ds64)))
    except TooManyChunksError as error:
        raise TakeError(path, str(error), DAMAGED) from error
    stated = int.from_bytes(head[4:8], "little")
    if ds64 and stated == LONG:
        stated = int.from_bytes(ds64[:8], "little")
    _refuse_cut_short(path, stream, chunks, size, stated)
    return Form(path, name, chunks, ds64)


def content_of(form: Form, stream: BinaryIO, chunk: Chunk, most: int) -> bytes:
    """Return what a small chunk holds; TakeError if that is more than ``most`` bytes."""
    if chunk.length > most:
        problem = (
            f"has a chunk '{chunk.name.decode()}' of {chunk.length:,} bytes, more than any program writes"
        )
        raise TakeError(form.path, problem, DAMAGED)
    stream.seek(chunk.content_at)
    return stream.read(chunk.length)


def is_name(name: bytes) -> bool:
    """Return whether these are four characters as the standard has them: printable ASCII."""
    return len(name) == 4 and all(0x20 <= letter < 0x7F for letter in name)  # noqa: PLR2004


def _walk(stream: BinaryIO, size: int, long_sizes: dict[bytes, int]) -> Iterator[Chunk]:
    """Yield chunks as long as they are whole."""
    places: Collection[int] = (FORM_BYTES,)
    for _ in range(MOST_CHUNKS):
        found = (_chunk(stream, at, size, long_sizes) for at in places)
        chunk = next((each for each in found if each), None)
        if chunk is None:
            return
        yield chunk
        places = (chunk.end + 1, chunk.end) if chunk.length % 2 else (chunk.end,)
    if places and min(places) < size:
        raise TooManyChunksError(f"holds more than {MOST_CHUNKS:,} chunks")


def _chunk(stream: BinaryIO, at: int, size: int, long_sizes: dict[bytes, int]) -> Chunk | None:
    """Return the chunk that begins at a place, None if there is none or it is cut short."""
    stream.seek(at)
    header = stream.read(HEADER_BYTES)
    if len(header) < HEADER_BYTES or not is_name(header[:4]):
        return None
    name, length = header[:4], int.from_bytes(header[4:], "little")
    if length == LONG and long_sizes.get(name):
        length = long_sizes[name]
    rest = size - at - HEADER_BYTES
    if name == b"data" and length in STREAMED_SIZES:
        length = rest
    return Chunk(name, at, length) if length <= rest else None


def _ds64(path: Path, stream: BinaryIO) -> bytes:
    """Return the content of the chunk that states the long sizes, which comes first."""
    header = stream.read(HEADER_BYTES)
    length = int.from_bytes(header[4:], "little")
    if header[:4] != b"ds64" or not DS64_BYTES <= length <= framed(DS64_BYTES + MOST_CHUNKS * _ROW.size):
        raise TakeError(path, "lacks its long sizes, the chunk 'ds64'", DAMAGED)
    content = stream.read(length)
    if len(content) < length:
        raise TakeError(path, "is cut short inside its header", DAMAGED)
    return content


def _long_sizes(ds64: bytes) -> dict[bytes, int]:
    """Return the sizes that stand in ``ds64``, by the names of their chunks."""
    if not ds64:
        return {}
    sound, _, rows = struct.unpack_from("<QQI", ds64, 8)
    held = (len(ds64) - DS64_BYTES) // _ROW.size
    table = ds64[DS64_BYTES:][: min(rows, held) * _ROW.size]
    return {**dict(_ROW.iter_unpack(table)), b"data": sound}


def _refuse_cut_short(
    path: Path, stream: BinaryIO, chunks: tuple[Chunk, ...], size: int, stated: int
) -> None:
    """Refuse a file in whose form something stands after the last whole chunk that is no padding."""
    at = chunks[-1].end + chunks[-1].length % 2 if chunks else FORM_BYTES
    form_end = 0 if stated in STREAMED_SIZES else HEADER_BYTES + stated
    if at >= min(form_end, size):
        return
    stream.seek(at)
    header = stream.read(HEADER_BYTES)
    if header.strip(b"\0"):
        what = f"chunk '{header[:4].decode()}'" if is_name(header[:4]) else f"content at byte {at:,}"
        problem = f"is cut short or damaged: its {what} is not whole"
        raise TakeError(path, problem, "copy it again from the recorder, or export it again")
