"""Read a Standard MIDI File: the notes of a performance, and its tempo map."""

import io
import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import chain, repeat
from pathlib import Path

import mido
from mido.midifiles.meta import KeySignatureError

from batch.errors import TakeError
from batch.model import Note, Texture
from batch.regular import unreadable
from batch.strums import Strum, gathered, texture_of
from batch.tempo import DEFAULT_US_PER_QUARTER, MeterChange, TempoChange, TempoMap

PERCUSSION_CHANNEL = 9
"""Channel 10 counted from 0 holds percussion (General MIDI 1)."""

_SMPTE_BIT = 0x8000
_HEADER_BYTES = 14
_INDEPENDENT_TRACKS = b"\x00\x02"
_SHORTEST_NOTE_S = 0.001
_LONGEST_S = 24 * 3600
_FASTEST_US_PER_QUARTER = 60_000
"""1,000 quarters a minute; faster is a broken file, whose beats would fill the memory (our choice)."""
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
    last_tick = max((sum(message.time for message in track) for track in midi.tracks), default=0)
    ends_s = tempo_map.seconds_at(last_tick)
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
    for _, message in _timed(midi):
        if message.type == "set_tempo" and message.tempo == 0:
            raise TakeError(path, "states a tempo of 0 microseconds a quarter", _EXPORT_AGAIN)
        if message.type == "time_signature" and not _is_meter(message):
            meter = f"{message.numerator}/{message.denominator:.7g}"
            raise TakeError(path, f"states a meter of {meter}", _EXPORT_AGAIN)
    ends_tick = max(sum(message.time for message in track) for track in midi.tracks)
    return replace(_tempo_map(midi, path), ends_tick=ends_tick)


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


def _load(path: Path) -> mido.MidiFile:
    try:
        content = path.read_bytes()
    except OSError as error:
        raise unreadable(path, error) from error
    if not content.startswith(b"MThd") or len(content) < _HEADER_BYTES:
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
        return mido.MidiFile(file=io.BytesIO(content), clip=True)
    except (OSError, EOFError, ValueError, TypeError, LookupError, KeySignatureError) as error:
        raise TakeError(path, "is a broken MIDI file or one cut short", _EXPORT_AGAIN) from error


def _states_tempo(midi: mido.MidiFile) -> bool:
    return any(message.type == "set_tempo" for track in midi.tracks for message in track)


def _tempo_map(midi: mido.MidiFile, path: Path) -> TempoMap:
    tempos = {0: TempoChange(0, DEFAULT_US_PER_QUARTER)}
    meters = {0: MeterChange(0, 4, 4)}
    for tick, message in _timed(midi):
        if message.type == "set_tempo" and message.tempo > 0:
            if not _FASTEST_US_PER_QUARTER <= message.tempo <= _SLOWEST_US_PER_QUARTER:
                raise TakeError(path, f"states {_per_minute(message)} quarters a minute", _EXPORT_AGAIN)
            tempos[tick] = TempoChange(tick, message.tempo)
        elif message.type == "time_signature" and _is_meter(message):
            meters[tick] = MeterChange(tick, message.numerator, message.denominator)
    by_tick = dict(sorted(tempos.items())), dict(sorted(meters.items()))
    return TempoMap(midi.ticks_per_beat, tuple(by_tick[0].values()), tuple(by_tick[1].values()))


def _is_meter(message: mido.MetaMessage) -> bool:
    return 0 < message.numerator <= _LONGEST_NUMERATOR and message.denominator <= _FINEST_DENOMINATOR


def _per_minute(message: mido.MetaMessage) -> str:
    quarters = 60e6 / message.tempo
    return f"{quarters:,.0f}" if quarters > _WHOLE_FROM else f"{quarters:.1f}"


def _timed(midi: mido.MidiFile) -> Iterable[tuple[int, mido.Message]]:
    """Yield every message with its absolute tick, track by track."""
    for track in midi.tracks:
        tick = 0
        for message in track:
            tick += message.time
            yield tick, message


def _notes(midi: mido.MidiFile, tempo_map: TempoMap) -> Iterable[Note]:
    for track in midi.tracks:
        yield from _track_notes(track, tempo_map)


def _track_notes(track: mido.MidiTrack, tempo_map: TempoMap) -> Iterable[Note]:
    """Pair note-ons with note-offs, first in first out; a note never let go ends with its track."""
    sounding: defaultdict[tuple[int, int], list[tuple[int, int]]] = defaultdict(list)
    tick = 0
    for message in track:
        tick += message.time
        if message.type not in {"note_on", "note_off"} or message.channel == PERCUSSION_CHANNEL:
            continue
        key = message.channel, message.note
        if message.type == "note_on" and message.velocity > 0:
            sounding[key].append((tick, message.velocity))
        elif sounding[key]:
            yield _note(*sounding[key].pop(0), tick, message.note, tempo_map)
    for (_, pitch), left in sounding.items():
        for start, velocity in left:
            yield _note(start, velocity, tick, pitch, tempo_map)


def _note(start: int, velocity: int, end: int, pitch: int, tempo_map: TempoMap) -> Note:
    onset_s = tempo_map.seconds_at(start)
    offset_s = max(tempo_map.seconds_at(end), onset_s + _SHORTEST_NOTE_S)
    return Note(onset_s, offset_s, float(pitch), velocity_to_db(velocity))


def _title(midi: mido.MidiFile) -> str | None:
    """Return the first track's name, which names the piece (Standard MIDI Files 1.0, FF 03)."""
    for message in midi.tracks[0] if midi.tracks else ():
        if message.type == "track_name":
            text = "".join(c if c.isprintable() else " " for c in _decoded(message.name))
            return " ".join(text.split())[:200].rstrip() or None
    return None


def _decoded(latin: str) -> str:
    """Return text that mido read as Latin-1 as UTF-8 where its bytes are that; programs write either."""
    try:
        return latin.encode("latin-1").decode("utf-8")
    except UnicodeError:
        return latin
