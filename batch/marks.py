"""By what a file that takemill wrote is known: a mark in it, or the way it begins where it bears none."""

import re
from os import SEEK_END
from typing import BinaryIO, get_args

from batch.names import HTML_MARK, KNOWN_BY_BEGINNING, MADE_BY, SVG_MARK
from batch.settings import CueColumn

_MARK = re.compile("|".join(map(re.escape, (MADE_BY, HTML_MARK, SVG_MARK))).encode())
_WITHIN_BYTES, _WITHIN_LAST_BYTES = 64 << 10, 4 << 10
"""Where a mark stands: before what may be long, or at the very end (our choice)."""

_COLUMN = b"(?:" + "|".join(get_args(CueColumn)).encode() + b")"
_BEGINNINGS = {
    # The first track has meter and then tempo at tick 0, and no name: few programs write it so.
    ".mid": re.compile(
        rb"MThd\x00\x00\x00\x06\x00[\x00\x01]....MTrk....\x00\xff\x58\x04..\x18\x08\x00\xff\x51\x03",
        flags=re.DOTALL,
    ),
    ".csv": re.compile(_COLUMN + rb"(?:[,;\t]" + _COLUMN + rb")*\r\n"),
    ".json": re.compile(rb'\{\s*"schema": ?"takemill\.'),
}


def is_by_us(stream: BinaryIO, name: str) -> bool:
    """Return whether a file of this name is one that takemill wrote; OSError."""
    if name.endswith(KNOWN_BY_BEGINNING):
        return _BEGINNINGS[name[name.rindex(".") :]].match(stream.read(_WITHIN_BYTES)) is not None
    return bears_mark(stream)


def bears_mark(stream: BinaryIO) -> bool:
    """Return whether the mark stands near the start or the end of a file; OSError."""
    stream.seek(0)
    if _MARK.search(stream.read(_WITHIN_BYTES)):
        return True
    stream.seek(max(0, stream.seek(0, SEEK_END) - _WITHIN_LAST_BYTES))
    return _MARK.search(stream.read(_WITHIN_LAST_BYTES)) is not None
