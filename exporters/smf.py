"""The few events of a Standard MIDI File 1.0 that marker files hold, as bytes.

A session's file has tens of thousands, written anew after every take, so they are made without a
general MIDI library.
"""

import struct
from collections.abc import Iterable, Sequence

LONGEST_DELTA = 0x0FFFFFFF
"""Ticks from one event to the next, in four bytes: 38 hours at 120 a minute and 960 ticks a quarter."""

Timed = tuple[int, int, bytes]
"""Tick, order within the tick, event."""

_END_OF_TRACK = b"\x00\xff\x2f\x00"
_CLOCKS_PER_METRONOME_CLICK = 24
_THIRTY_SECONDS_PER_QUARTER = 8


def text(kind: int, content: str) -> bytes:
    """Return a text event of ``kind``: 6 a marker, 7 a cue point; UnicodeEncodeError if not ASCII."""
    return _meta(kind, content.encode("ascii"))


def tempo(us_per_quarter: int) -> bytes:
    """Return Set Tempo (FF 51)."""
    return _meta(0x51, us_per_quarter.to_bytes(3, "big"))


def meter(numerator: int, denominator: int) -> bytes:
    """Return Time Signature (FF 58); the denominator is a power of two."""
    power = denominator.bit_length() - 1
    return _meta(0x58, bytes([numerator, power, _CLOCKS_PER_METRONOME_CLICK, _THIRTY_SECONDS_PER_QUARTER]))


def note_on(channel: int, pitch: int, velocity: int) -> bytes:
    """Return Note On (9n)."""
    return bytes([0x90 | channel, pitch, velocity])


def note_off(channel: int, pitch: int) -> bytes:
    """Return Note Off (8n)."""
    return bytes([0x80 | channel, pitch, 0])


_NOTHING = note_off(0, 0)
"""Lets go a key that is not held: says that time passes, which only events can."""


def midi_file(tracks: Sequence[Iterable[Timed]], ticks_per_quarter: int) -> bytes:
    """Return the file of these tracks: format 0 where there is one, else format 1."""
    header = struct.pack(">4sIHHH", b"MThd", 6, int(len(tracks) > 1), len(tracks), ticks_per_quarter)
    return header + b"".join(_track(events) for events in tracks)


def _track(events: Iterable[Timed]) -> bytes:
    parts = []
    last = 0
    for tick, _, event in sorted(events, key=_moment):
        while tick - last > LONGEST_DELTA:
            parts += [_quantity(LONGEST_DELTA), _NOTHING]
            last += LONGEST_DELTA
        parts += [_quantity(tick - last), event]
        last = tick
    content = b"".join([*parts, _END_OF_TRACK])
    return struct.pack(">4sI", b"MTrk", len(content)) + content


def _moment(event: Timed) -> tuple[int, int]:
    return event[:2]


def _meta(kind: int, content: bytes) -> bytes:
    return bytes([0xFF, kind]) + _quantity(len(content)) + content


def _quantity(value: int) -> bytes:
    """Return a variable-length quantity: seven bits a byte, all but the last marked."""
    digits = [value & 0x7F]
    while value := value >> 7:
        digits.append(0x80 | value & 0x7F)
    return bytes(reversed(digits))
