"""What a Standard MIDI File holds that matters to a take: keys, tempos, meters, the name of the piece.

Everything else is passed over byte by byte, so that a file of millions of controller moves is read
in the memory of its keys. Source: Standard MIDI Files 1.0 (MIDI Manufacturers Association, 1988).
"""

import codecs
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice

HEADER_BYTES = 14
MOST_KEYS = 500_000
"""Notes struck and let go: seven hours of ten a second (our choice)."""
MOST_CHANGES = 100_000
"""Changes of tempo or meter; a ramp of twenty a second over an hour has fewer (our choice)."""

_LONGEST_QUANTITY = 4
"""Bytes of a variable-length quantity at most."""
_NAME_BYTES = 4096
"""As much of a name as is looked at."""

_MARK = 0x80
"""Set in a status, and in every byte of a quantity but the last."""
_META, _SYSTEM_EXCLUSIVE, _ESCAPE = 0xFF, 0xF0, 0xF7
_LONG = frozenset({_META, _SYSTEM_EXCLUSIVE, _ESCAPE})
"""Events that state their length."""
_NAME, _END_OF_TRACK, _TEMPO, _METER = 0x03, 0x2F, 0x51, 0x58
_NOTE_OFF, _NOTE_ON, _SYSTEM = 0x80, 0x90, 0xF0
_DATA_BYTES = {kind: 1 if kind in (0xC0, 0xD0) else 2 for kind in range(_NOTE_OFF, _SYSTEM, 0x10)}
"""Of channel messages: one for program change and channel pressure."""
_SYSTEM_BYTES = {0xF1: 1, 0xF2: 2, 0xF3: 1}
"""Data bytes of system messages, which do not belong in a file and are passed over; the others have none."""
_MOST_DATA = 0x7F


class BrokenMidiError(ValueError):
    """The bytes are no Standard MIDI File, or stop inside one."""


class TooManyEventsError(ValueError):
    """The file states more than any performance or session has; the message says of what."""


@dataclass(frozen=True, slots=True)
class Key:
    """A key struck, or let go where ``velocity`` is 0."""

    tick: int
    channel: int
    pitch: int
    velocity: int


@dataclass(slots=True)
class Track:
    """One track; tempos are microseconds a quarter, meters numerator and denominator, with their ticks."""

    keys: list[Key] = field(default_factory=list)
    tempos: list[tuple[int, int]] = field(default_factory=list)
    meters: list[tuple[int, int, int]] = field(default_factory=list)
    name: str | None = None
    ends_tick: int = 0

    @property
    def changes(self) -> int:
        """How often tempo or meter change."""
        return len(self.tempos) + len(self.meters)


def read_tracks(content: bytes) -> tuple[Track, ...]:
    """Read the tracks that the header counts, which starts ``content``; chunks of other kinds are left out.

    Raises
    ------
    BrokenMidiError
        If a track is missing, cut short, or holds what is no event.
    TooManyEventsError
        If there is more than a reader is ready to keep.
    """
    wanted = int.from_bytes(content[10:12], "big")
    tracks: list[Track] = []
    keys = changes = 0
    for data in islice(_track_chunks(content), wanted):
        try:
            track = _track(data)
        except IndexError as error:
            raise BrokenMidiError("an event is longer than its track") from error
        tracks.append(track)
        keys, changes = keys + len(track.keys), changes + track.changes
        _refuse_too_many(keys, changes)
    if len(tracks) < wanted:
        raise BrokenMidiError(f"{len(tracks)} of {wanted} tracks are there")
    return tuple(tracks)


def _track_chunks(content: bytes) -> Iterator[bytes]:
    """Yield what each track holds."""
    at = 8 + int.from_bytes(content[4:8], "big")
    while at + 8 <= len(content):
        kind, begins = content[at : at + 4], at + 8
        at = begins + int.from_bytes(content[at + 4 : begins], "big")
        if kind == b"MTrk":
            if at > len(content):
                raise BrokenMidiError("a track is cut short")
            yield content[begins:at]


def _track(data: bytes) -> Track:
    """Read one track; IndexError if its last event goes on beyond it."""
    track, status, at = Track(), 0, 0
    while at < len(data):
        delta, at = _quantity(data, at)
        track.ends_tick += delta
        if (first := data[at]) in _LONG:
            kind = data[at + 1] if first == _META else None
            length, at = _quantity(data, at + (1 if kind is None else 2))
            if kind == _END_OF_TRACK:
                break
            if at + length > len(data):
                raise BrokenMidiError("an event is longer than its track")
            _take_meta(track, kind, data[at : at + min(length, _NAME_BYTES)])
            at += length
            continue
        if first & _MARK:
            status, at = first, at + 1
        if not status:
            raise BrokenMidiError("a running status has none before it")
        at += _take_message(track, status, data, at)
    return track


def _take_meta(track: Track, kind: int | None, data: bytes) -> None:
    if kind == _TEMPO:
        track.tempos.append((track.ends_tick, data[0] << 16 | data[1] << 8 | data[2]))
    elif kind == _METER:
        track.meters.append((track.ends_tick, data[0], 1 << data[1]))
    elif kind == _NAME and track.name is None:
        track.name = _text(data)
    _refuse_too_many(0, track.changes)


def _take_message(track: Track, status: int, data: bytes, at: int) -> int:
    """Take the message whose data bytes stand at ``at``; return how many these are."""
    kind = status & 0xF0
    count = _DATA_BYTES[kind] if kind < _SYSTEM else _SYSTEM_BYTES.get(status, 0)
    if at + count > len(data):
        raise BrokenMidiError("an event is longer than its track")
    if kind in (_NOTE_OFF, _NOTE_ON):
        pitch, velocity = min(data[at], _MOST_DATA), min(data[at + 1], _MOST_DATA)
        track.keys.append(Key(track.ends_tick, status & 0x0F, pitch, velocity if kind == _NOTE_ON else 0))
        _refuse_too_many(len(track.keys), 0)
    return count


def _quantity(data: bytes, at: int) -> tuple[int, int]:
    """Return the variable-length quantity at ``at``, and where it ends."""
    value = 0
    for place in range(at, at + _LONGEST_QUANTITY):
        value = value << 7 | data[place] & 0x7F
        if data[place] < _MARK:
            return value, place + 1
    raise BrokenMidiError("a quantity does not end")


def _text(data: bytes) -> str:
    """Return text as UTF-8 where its bytes are that, else as Latin-1; programs write either."""
    try:
        return codecs.getincrementaldecoder("utf-8")().decode(data, final=len(data) < _NAME_BYTES)
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _refuse_too_many(keys: int, changes: int) -> None:
    if keys > MOST_KEYS:
        raise TooManyEventsError(f"holds more than {MOST_KEYS // 2:,} notes")
    if changes > MOST_CHANGES:
        raise TooManyEventsError(f"states more than {MOST_CHANGES:,} changes of tempo and meter")
