"""The chunks that WAV and its kin, AIFF and CAF are made of."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO, Literal

HEAD_BYTES = 40
"""As much of a file's beginning as tells its family."""

MOST_CHUNKS = 10_000
"""Chunks looked at; no recorder writes so many."""


class TooManyChunksError(ValueError):
    """A file is cut into more chunks than any program writes."""


@dataclass(frozen=True, slots=True)
class Chunks:
    """How a family of formats frames its chunks: sizes of name and length, and what is counted in."""

    first: int
    name: int
    size: int
    order: Literal["little", "big"]
    align: int = 1
    counts_header: bool = False


_RIFF = Chunks(first=12, name=4, size=4, order="little", align=2)
_IFF = Chunks(first=12, name=4, size=4, order="big", align=2)
_CAF = Chunks(first=8, name=4, size=8, order="big")
_W64 = Chunks(first=40, name=16, size=8, order="little", align=8, counts_header=True)
_W64_RIFF = b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00"
"""First of the GUIDs of Sony Wave64, whose other names start with the four letters of RIFF's chunks."""


def kind_of(head: bytes) -> Chunks | None:
    """Return how the file that begins with ``head`` frames its chunks; None if it has none."""
    form = head[8:12]
    if head[:4] in {b"RIFF", b"RF64", b"BW64"} and form == b"WAVE":
        return _RIFF
    if head[:4] == b"FORM" and form in {b"AIFF", b"AIFC"}:
        return _IFF
    if head[:4] == b"caff":
        return _CAF
    return _W64 if head[:16] == _W64_RIFF else None


def walk(stream: BinaryIO, kind: Chunks, size: int) -> Iterator[tuple[bytes, int]]:
    """Yield the first letters of each chunk's name and its length, the stream standing at its content.

    Raises
    ------
    TooManyChunksError
        If there are more than any program writes: decoders walk them all, some at every look.
    """
    at = kind.first
    for _ in range(MOST_CHUNKS):
        if at >= size:
            return
        stream.seek(at)
        header = stream.read(kind.name + kind.size)
        if len(header) < kind.name + kind.size:
            return
        length = int.from_bytes(header[kind.name :], kind.order)
        if kind.counts_header:
            length = max(length - len(header), 0)
        yield header[:4], length
        at += len(header) + -(-length // kind.align) * kind.align
    if at < size:
        raise TooManyChunksError(f"holds more than {MOST_CHUNKS:,} chunks")
