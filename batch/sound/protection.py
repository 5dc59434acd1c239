"""Recordings that are locked by a shop, and ones whose index was never written.

A locked file decodes to noise or to errors that say nothing, so its containers are looked at first.
"""

from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from batch.errors import TakeError
from batch.regular import open_regular, size_of, unreadable

_PARENTS = frozenset({b"moov", b"trak", b"mdia", b"minf", b"stbl"})
_FIRST_ATOMS = frozenset({b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip"})
_LOCKED_SOUND = frozenset({b"enca", b"drms", b"aavd"})
"""Sample entries of ISO 14496-12 (8.12, protected streams), of the older Apple shop, of Audible."""

_ASF_HEADER = bytes.fromhex("3026B2758E66CF11A6D900AA0062CE6C")
_ASF_LOCKS = tuple(
    bytes.fromhex(guid)
    for guid in (
        "FBB3112223BDD211B4B700A0C955FC6E",
        "14E68A292226174CB935DAE07EE9289C",
        "338505438169E6499B74AD12CB86D58C",
    )
)
"""Content Encryption, Extended and Advanced Content Encryption (ASF specification 1.20.03, chapter 10)."""

_EBML = b"\x1a\x45\xdf\xa3"
_EBML_LOCK = b"\x50\x33\x81\x01"
"""ContentEncodingType = 1, encryption (RFC 9559, 5.1.4.1.31)."""

_HEADER_BYTES = 1 << 16
_MOST_ATOMS = 10_000


def refuse_locked(path: Path) -> None:
    """Refuse a protected file, and an MPEG-4 or QuickTime file without its index; TakeError."""
    try:
        with open_regular(path) as stream:
            head = stream.read(_HEADER_BYTES)
            atoms = set(_atoms(stream, size_of(stream))) if head[4:8] in _FIRST_ATOMS else set()
    except OSError as error:
        raise unreadable(path, error) from error
    if atoms & _LOCKED_SOUND or _locked_header(head):
        raise TakeError(
            path, "is protected against copying (DRM)", "record the sound anew, or get a copy without it"
        )
    if atoms and b"moov" not in atoms:
        raise TakeError(
            path,
            "was never finished: its index (moov) is missing",
            "copy it again from the recorder, or let the recorder repair it",
        )


def _locked_header(head: bytes) -> bool:
    if head.startswith(_ASF_HEADER):
        return any(lock in head for lock in _ASF_LOCKS)
    return head.startswith(_EBML) and _EBML_LOCK in head


def _atoms(stream: BinaryIO, size: int) -> Iterator[bytes]:
    """Yield the types of the atoms on the way to the sample entries, and of those (ISO 14496-12, 4.2)."""
    at, left = 0, _MOST_ATOMS
    while at + 8 <= size and (left := left - 1):
        stream.seek(at)
        header = stream.read(16)
        length, kind = int.from_bytes(header[:4], "big"), header[4:8]
        yield kind
        if kind in _PARENTS:
            at += 8
        elif kind == b"stsd":
            at += 16  # version, flags and the count of entries; the entries follow as atoms
        elif length == 1:
            at += max(int.from_bytes(header[8:16], "big"), 16)
        elif length == 0:
            return  # to the end of the file
        else:
            at += max(length, 8)
