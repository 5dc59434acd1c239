"""What a Broadcast Wave file says of when it was recorded and where in a session it lies.

EBU Tech 3285 version 2, "Specification of the Broadcast Wave Format", 2.3: the chunk ``bext``.
"""

import re
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from batch.regular import open_regular, size_of
from batch.sound.chunks import HEAD_BYTES, TooManyChunksError, kind_of, walk

_DATE = slice(320, 330)
_TIME = slice(330, 338)
_TIME_REFERENCE = slice(338, 346)
"""After Description (256 bytes), Originator and OriginatorReference (32 each)."""

_DAY_S = 24 * 3600


@dataclass(frozen=True, slots=True)
class Broadcast:
    """Seconds from midnight, or from the session's zero, and ``yyyy-mm-dd hh:mm:ss``; None if not said."""

    time_reference_s: float | None = None
    recorded_at: str | None = None

    @property
    def is_beyond_a_day(self) -> bool:
        """Whether the reference counts past midnight, which the standard does not allow."""
        return self.time_reference_s is not None and self.time_reference_s >= _DAY_S


def read_broadcast(path: Path, rate_hz: int) -> Broadcast:
    """Return what the ``bext`` chunk of ``path`` says, nothing where there is none; OSError."""
    with open_regular(path) as stream, suppress(TooManyChunksError):
        kind = kind_of(stream.read(HEAD_BYTES))
        if kind is None:
            return Broadcast()
        for name, length in walk(stream, kind, size_of(stream)):
            if name == b"bext":
                return _said(stream.read(min(length, _TIME_REFERENCE.stop)), rate_hz)
    return Broadcast()


def _said(content: bytes, rate_hz: int) -> Broadcast:
    if len(content) < _TIME_REFERENCE.stop:
        return Broadcast()
    samples = int.from_bytes(content[_TIME_REFERENCE], "little")
    return Broadcast(samples / rate_hz, _moment(content[_DATE], content[_TIME]))


def _moment(date: bytes, time: bytes) -> str | None:
    """Return date and time; the separators may be any of several characters."""
    parts = re.fullmatch(rb"(\d{4})\D(\d\d)\D(\d\d)", date), re.fullmatch(rb"(\d\d)\D(\d\d)\D(\d\d)", time)
    day, hour = ([group.decode() for group in part.groups()] if part else None for part in parts)
    if day is None or day[0] == "0000":
        return None
    return "-".join(day) + (f" {':'.join(hour)}" if hour else "")
