"""Read a Standard MIDI File: the notes of a performance, and its tempo map."""

import math
from collections import defaultdict, deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import chain, repeat
from pathlib import Path

from batch.errors import TakeError
from batch.inert import title_of
from batch.midi_file import HEADER_BYTES, BrokenMidiError, TooManyEventsError, Track, read_tracks
from batch.model import Note, Texture
from batch.regular import read_regular, unreadable
from batch.strums import Strum, gathered, texture_of
from batch.tempo import DEFAULT_US_PER_QUARTER, MeterChange, TempoChange, TempoMap

PERCUSSION_CHANNEL = 9
"""Channel 10 counted from 0 holds percussion (General MIDI 1)."""

_SMPTE_BIT = 0x8000
_INDEPENDENT_TRACKS = b"\x00\x02"
_MOST_BYTES = 64 << 20
"""Three hours of a keyboard that sends every finger's pressure fill half of it (our choice)."""
_SHORTEST_NOTE_S = 0.001
_LONGEST_S = 24 * 3600
_FASTEST_US_PER_QUARTER = 60_000
"""1,000 quarters a minute; faster is a broken file, whose beats would fill the memory (our choice)."""
_MOST_BEATS_A_MINUTE = 1000
"""The same of felt beats: a meter of 1/64 has sixteen to a quarter (our choice)."""
_SLOWEST_US_PER_QUARTER = 12_000_000
"""5 quarters a minute; slower is no beat, not even a held note written as one (our choice)."""
_FINEST_DENOMINATOR = 64
_LONGEST_NUMERATOR = 64
"""A meter of shorter or of more notes is nonsense (our choice)."""
_WHOLE_FROM = 10
_EXPORT_AGAIN = "export it again as a Standard MIDI File"


@dataclass(frozen=True, slots=True)
class Performance:
    """The notes played and the map they were played over; 120 in 4/4 where no tempo is stated."""

    notes: tuple[Note, ...]
    tempo_map: TempoMap
    states_tempo: bool
    duration_s: float
    title: str | None
    texture: Texture | None


def read_performance(path: Path) -> Performance:
    """Read a MIDI take: notes of every channel but percussion, as one line.

    Raises
    ------
    TakeError
        If the file is no Standard MIDI File, or a broken one.
    """
    midi = _load(path)
    tempo_map = _tempo_map(midi, path)
    ends_s = tempo_map.seconds_at(midi.ends_tick)
    if ends_s > _LONGEST_S:
        raise TakeError(path, f"states that it lasts {ends_s / 3600:,.0f} hours", _EXPORT_AGAIN)
    strums = gathered(_notes(midi, tempo_map))
    notes = single_line(strums)
    duration_s = max([ends_s, *(note.offset_s for note in notes)])
    return Performance(notes, tempo_map, _states_tempo(midi), duration_s, _title(midi), texture_of(strums))


def read_tempo_map(path: Path) -> TempoMap:
    """Read tempo and meter of a MIDI file that a session exported; its notes do not matter.

    Raises
    ------
    TakeError
        If the file is no Standard MIDI File, a broken one, or states no tempo, or nonsense: what is
        wrong about the map would be wrong about the take.
    """
    midi = _load(path)
    if not _states_tempo(midi):
        raise TakeError(path, "states no tempo", "export the session's tempo track as a MIDI file")
    if any(us == 0 for track in midi.tracks for _, us in track.tempos):
        raise TakeError(path, "states a tempo of 0 microseconds a quarter", _EXPORT_AGAIN)
    for track in midi.tracks:
        for _, *meter in track.meters:
            if not _is_meter(*meter):
                stated = f"{meter[0]}/{meter[1]:.7g}"
                raise TakeError(path, f"states a meter of {stated}", _EXPORT_AGAIN)
    return replace(_tempo_map(midi, path), ends_tick=midi.ends_tick)


def single_line(strums: Iterable[Strum]) -> tuple[Note, ...]:
    """Return one note a strum, each ending by the next onset.

    A chord keeps its highest note, where listeners hear the melody (common practice, no
    source), from the first string's onset.
    """
    line = [_top(strum) for strum in strums]
    ends = chain((note.onset_s for note in line[1:]), repeat(math.inf))
    return tuple(_with_span(n, n.onset_s, min(n.offset_s, end)) for n, end in zip(line, ends, strict=False))


def _top(strum: Strum) -> Note:
    onset_s, top = strum[0].onset_s, max(strum, key=lambda note: note.pitch_midi)
    return _with_span(top, onset_s, max(top.offset_s, onset_s + _SHORTEST_NOTE_S))


def velocity_to_db(velocity: int) -> float:
    """Return the level of a MIDI velocity, 1..127, in dB below full scale.

    40 log10(velocity / 127) (General MIDI 2, recommended velocity response; from memory).
    """
    return 40 * math.log10(velocity / 127)


def _with_span(note: Note, onset_s: float, offset_s: float) -> Note:
    return Note(onset_s, offset_s, note.pitch_midi, note.loudness_db, note.confidence)


@dataclass(frozen=True, slots=True)
class _Midi:
    """The tracks of a file, and its ticks a quarter."""

    ticks_per_quarter: int
    tracks: tuple[Track, ...]

    @property
    def ends_tick(self) -> int:
        return max((track.ends_tick for track in self.tracks), default=0)


def _load(path: Path) -> _Midi:
    try:
        content = read_regular(path, _MOST_BYTES)
    except OSError as error:
        raise unreadable(path, error) from error
    if not content.startswith(b"MThd") or len(content) < HEADER_BYTES:
        raise TakeError(path, "is not a Standard MIDI File", _EXPORT_AGAIN)
    if content[8:10] == _INDEPENDENT_TRACKS:
        raise TakeError(
            path, "is a format 2 file, whose tracks are pieces apart", f"{_EXPORT_AGAIN}, format 0 or 1"
        )
    division = int.from_bytes(content[12:14], "big")
    if division & _SMPTE_BIT:
        raise TakeError(path, "counts time in film frames, not in beats", f"{_EXPORT_AGAIN} with a tempo map")
    if division == 0:
        raise TakeError(path, "states 0 ticks a quarter", _EXPORT_AGAIN)
    try:
        return _Midi(division, read_tracks(content))
    except BrokenMidiError as error:
        raise TakeError(path, f"is a broken MIDI file or one cut short ({error})", _EXPORT_AGAIN) from error
    except TooManyEventsError as error:
        raise TakeError(path, f"{error}", f"{_EXPORT_AGAIN} without what nobody played") from error


def _states_tempo(midi: _Midi) -> bool:
    return any(track.tempos for track in midi.tracks)


def _tempo_map(midi: _Midi, path: Path) -> TempoMap:
    tempos = {0: TempoChange(0, DEFAULT_US_PER_QUARTER)}
    meters = {0: MeterChange(0, 4, 4)}
    for track in midi.tracks:
        for tick, us in track.tempos:
            if us and not _FASTEST_US_PER_QUARTER <= us <= _SLOWEST_US_PER_QUARTER:
                raise TakeError(path, f"states {_per_minute(us)} quarters a minute", _EXPORT_AGAIN)
            tempos |= {tick: TempoChange(tick, us)} if us else {}
        for tick, *meter in track.meters:
            meters |= {tick: MeterChange(tick, *meter)} if _is_meter(*meter) else {}
    by_tick = dict(sorted(tempos.items())), dict(sorted(meters.items()))
    tempo_map = TempoMap(midi.ticks_per_quarter, tuple(by_tick[0].values()), tuple(by_tick[1].values()))
    fastest = max(_beats_a_minute(tempo_map, tick) for tick in (*tempos, *meters))
    if fastest > _MOST_BEATS_A_MINUTE:
        raise TakeError(path, f"states {fastest:,.0f} beats a minute", _EXPORT_AGAIN)
    return tempo_map


def _beats_a_minute(tempo_map: TempoMap, tick: int) -> float:
    meter, _ = tempo_map.meter_at(tick)
    return 60e6 / tempo_map.tempo_at(tick).us_per_quarter / meter.quarters_per_beat


def _is_meter(numerator: int, denominator: int) -> bool:
    return 0 < numerator <= _LONGEST_NUMERATOR and denominator <= _FINEST_DENOMINATOR


def _per_minute(us_per_quarter: int) -> str:
    quarters = 60e6 / us_per_quarter
    return f"{quarters:,.0f}" if quarters > _WHOLE_FROM else f"{quarters:.1f}"


def _notes(midi: _Midi, tempo_map: TempoMap) -> Iterable[Note]:
    for track in midi.tracks:
        yield from _track_notes(track, tempo_map)


def _track_notes(track: Track, tempo_map: TempoMap) -> Iterable[Note]:
    """Pair note-ons with note-offs, first in first out; a note never let go ends with its track."""
    sounding: defaultdict[tuple[int, int], deque[tuple[int, int]]] = defaultdict(deque)
    for key in track.keys:
        if key.channel == PERCUSSION_CHANNEL:
            continue
        held = sounding[key.channel, key.pitch]
        if key.velocity > 0:
            held.append((key.tick, key.velocity))
        elif held:
            yield _note(*held.popleft(), key.tick, key.pitch, tempo_map)
    for (_, pitch), left in sounding.items():
        for start, velocity in left:
            yield _note(start, velocity, track.ends_tick, pitch, tempo_map)


def _note(start: int, velocity: int, end: int, pitch: int, tempo_map: TempoMap) -> Note:
    onset_s = tempo_map.seconds_at(start)
    offset_s = max(tempo_map.seconds_at(end), onset_s + _SHORTEST_NOTE_S)
    return Note(onset_s, offset_s, float(pitch), velocity_to_db(velocity))


def _title(midi: _Midi) -> str | None:
    """Return the first track's name, which names the piece (Standard MIDI Files 1.0, FF 03)."""
    return title_of(midi.tracks[0].name or "") if midi.tracks else None
