"""Phrases as a MIDI marker track that a recording program imports.

What programs accept was measured with many variants of the file: one reads markers only
from the last track and only where the first track has notes; tempo events off the beat put
another out by 100 ms; cue points and text outside ASCII each broke one. One track with
tempo, meter, markers and a note a phrase is read by all, to 0.3 ms.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from batch.model import Analysis, Density, Groove, LabelledPhrase, Labels, Length, Note
from batch.settings import MARKED, CountsFrom, LabelName, MarkerTrack, StatedMap
from batch.tempo import TempoMap
from batch.tempo_cut import cut_at
from batch.tempo_heard import map_of
from batch.tension_words import moment_marks
from exporters import smf
from exporters.base import number_width, phrase_names
from exporters.counting import counts_from_session, start_s
from exporters.smf import Timed

TICKS_PER_QUARTER = 960

_LARGEST_ERROR_US = 950
"""Half a tick may last this long: a position is right to a millisecond, less what a map's rounding needs."""
_MOST_TICKS = 0x7FFF
"""Ticks a quarter have 15 bits (Standard MIDI Files 1.0)."""

_ROWS = {
    (Length.SHORT, Density.SPARSE): 60,
    (Length.SHORT, Density.DENSE): 62,
    (Length.LONG, Density.SPARSE): 64,
    (Length.LONG, Density.DENSE): 65,
}
"""Pitch of the span notes, so that a piano roll shows length and density as rows: C D E F."""

_VELOCITIES = {Groove.IN_GROOVE: 64, Groove.AGAINST_GROOVE: 112, Groove.UNMEASURED: 80}

MarkerEvent = Literal["marker", "cue-point"]
_TEXT_KINDS = {"marker": 6, "cue-point": 7}

_OFF, _CONDUCTOR, _MARK, _ON = range(4)
_NOTES_CHANNEL = 1
"""Of the heard notes beside the spans: a program that takes a one-track file apart does it by channel."""


@dataclass(frozen=True, slots=True)
class MidiMarkers:
    """Markers (FF 06) at phrase starts, and one note a phrase spanning its length.

    With ``moments`` there are others where tension builds, peaks and is released; with ``notes`` the heard
    notes, as a part of their own.
    """

    midi_format: Literal[0, 1] = 0
    event: MarkerEvent = "marker"
    spans: bool = True
    session_tempo_bpm: float = 120.0
    counts_from: CountsFrom = "auto"
    labels: Sequence[LabelName] = MARKED
    devices: bool = False
    moments: bool = False
    track: MarkerTrack = "first"
    tempo_map: StatedMap = "known"
    notes: bool = False
    suffix: str = ".markers.mid"

    def render(self, analysis: Analysis) -> bytes:
        """Return a Standard MIDI File 1.0."""
        clock = SessionClock.of(analysis, self.counts_from, self.session_tempo_bpm, self.tempo_map)
        marks = [*self._marks(analysis.phrases, clock), *self._moments(analysis, clock)]
        spans = _spans(analysis.phrases, clock) if self.spans else ()
        notes = heard_notes(analysis.notes, clock, _NOTES_CHANNEL) if self.notes else ()
        return marker_file(clock, marks, spans, notes, midi_format=self.midi_format, track=self.track)

    def _marks(self, phrases: tuple[LabelledPhrase, ...], clock: "SessionClock") -> Iterable[Timed]:
        names = phrase_names(phrases, labels=self.labels, with_devices=self.devices)
        for name, phrase in zip(names, phrases, strict=True):
            yield mark(clock.tick(phrase.start_s), name, self.event)

    def _moments(self, analysis: Analysis, clock: "SessionClock") -> Iterable[Timed]:
        if self.moments and analysis.tension:
            for time_s, text in moment_marks(analysis.tension, number_width(analysis.phrases)):
                yield mark(clock.tick(time_s), text, self.event)


@dataclass(frozen=True, slots=True)
class MidiNotes:
    """The heard notes, in a file of their own."""

    session_tempo_bpm: float = 120.0
    counts_from: CountsFrom = "auto"
    tempo_map: StatedMap = "known"
    suffix: str = ".notes.mid"

    def render(self, analysis: Analysis) -> bytes:
        """Return a Standard MIDI File 1.0 with the notes rounded to semitones."""
        clock = SessionClock.of(analysis, self.counts_from, self.session_tempo_bpm, self.tempo_map)
        events = [*clock.conductor(), *heard_notes(analysis.notes, clock)]
        return smf.midi_file([events], clock.tempo_map.ticks_per_quarter)


@dataclass(frozen=True, slots=True)
class SessionClock:
    """The tempo map that a file states, and where in it the take starts."""

    tempo_map: TempoMap
    starts_at_s: float

    @classmethod
    def of(
        cls,
        analysis: Analysis,
        counts_from: CountsFrom,
        session_tempo_bpm: float,
        stated: StatedMap = "known",
    ) -> "SessionClock":
        """Take the session's own map where positions count from its zero, the take's where from its start.

        Where there is no such map, or it is not to be stated, the session's tempo. Beats that were heard
        have no map and make one only if asked to, where positions count from the take's start.
        """
        grid, from_session = analysis.grid, counts_from_session(analysis, counts_from)
        if grid and stated != "none":
            if grid.tempo_map and from_session and grid.spans_session:
                return cls(_fine(grid.tempo_map), grid.starts_at_s)
            if grid.tempo_map and not from_session:
                return cls.cut(grid.tempo_map, grid.starts_at_s)
            if stated == "heard" and grid.trusted and not from_session:
                return cls.cut(*map_of(grid))
        return cls.steady(session_tempo_bpm, start_s(analysis, counts_from))

    @classmethod
    def steady(cls, tempo_bpm: float, starts_at_s: float) -> "SessionClock":
        """Run at one tempo in 4/4."""
        return cls(_fine(TempoMap.constant(tempo_bpm, (4, 4), TICKS_PER_QUARTER)), starts_at_s)

    @classmethod
    def cut(cls, tempo_map: TempoMap, zero_s: float) -> "SessionClock":
        """Count from ``zero_s`` of a map."""
        cut = cut_at(_fine(tempo_map), zero_s)
        if (ticks := _ticks_for(cut)) > cut.ticks_per_quarter:  # a slow first bar
            cut = cut_at(tempo_map.on_beats(ticks), zero_s)
        return cls(cut, 0.0)

    def tick(self, time_s: float) -> int:
        """Return the tick of a time in the take."""
        return max(0, round(self.tempo_map.ticks_at(self.starts_at_s + time_s)))

    def conductor(self) -> Iterable[Timed]:
        """Yield meter and tempo, both stated at tick 0."""
        for meter in self.tempo_map.meters:
            yield meter.tick, _CONDUCTOR, smf.meter(meter.numerator, meter.denominator)
        for change in self.tempo_map.tempos:
            yield change.tick, _CONDUCTOR, smf.tempo(change.us_per_quarter)


def velocity(loudness_db: float) -> int:
    """Return the MIDI velocity of a level: the inverse of 40 log10(velocity / 127) (General MIDI 2)."""
    return min(127, max(1, round(127 * 10 ** (loudness_db / 40))))


def _fine(tempo_map: TempoMap) -> TempoMap:
    """Return a map with its changes on beats, in ticks fine enough for its slowest tempo."""
    return tempo_map.on_beats(_ticks_for(tempo_map))


def _ticks_for(tempo_map: TempoMap) -> int:
    slowest_us = max(change.us_per_quarter for change in tempo_map.tempos)
    times = math.ceil(slowest_us / (2 * TICKS_PER_QUARTER * _LARGEST_ERROR_US))
    return TICKS_PER_QUARTER * min(times, _MOST_TICKS // TICKS_PER_QUARTER)


def marker_file(
    clock: SessionClock,
    marks: Iterable[Timed],
    spans: Iterable[Timed],
    notes: Iterable[Timed] = (),
    *,
    midi_format: Literal[0, 1],
    track: MarkerTrack,
) -> bytes:
    """Return a file of one track, or of several with the markers in the first or the last.

    Tempo and meter stand in the first (Standard MIDI Files 1.0: format 1). Where the markers are last it has
    the spans, for a program that reads markers from the last track alone wants notes in the first.
    """
    conductor, marks, spans, notes = ([*part] for part in (clock.conductor(), marks, spans, notes))
    if midi_format == 0:
        tracks = [conductor + marks + spans + notes]
    elif track == "first":
        tracks = [conductor + marks, spans, *([notes] if notes else ())]
    else:
        tracks = [conductor + spans, *([notes] if notes else ()), marks]
    return smf.midi_file(tracks, clock.tempo_map.ticks_per_quarter)


def heard_notes(notes: Iterable[Note], clock: SessionClock, channel: int = 0) -> Iterable[Timed]:
    """Yield both ends of each heard note, rounded to a semitone."""
    for note in notes:
        key = round(note.pitch_midi), velocity(note.loudness_db)
        yield from _note(clock, note.onset_s, note.offset_s, key, channel)


def _spans(phrases: tuple[LabelledPhrase, ...], clock: SessionClock) -> Iterable[Timed]:
    for phrase in phrases:
        yield from span(clock, phrase.start_s, phrase.end_s, phrase.labels)


def span(
    clock: SessionClock, start_s: float, end_s: float, labels: Labels, channel: int = 0
) -> tuple[Timed, Timed]:
    """Return the note that spans a phrase: its pitch says length and density, its velocity the groove."""
    key = _ROWS[labels.length, labels.density], _VELOCITIES[labels.groove]
    return _note(clock, start_s, end_s, key, channel)


def mark(tick: int, text: str, event: MarkerEvent) -> Timed:
    """Return a marker, or a cue point."""
    return tick, _MARK, smf.text(_TEXT_KINDS[event], text)


def _note(
    clock: SessionClock, onset_s: float, offset_s: float, key: tuple[int, int], channel: int = 0
) -> tuple[Timed, Timed]:
    """Return both ends of a note; ``key`` is its pitch and velocity."""
    start = clock.tick(onset_s)
    end = max(clock.tick(offset_s), start + 1)
    return (start, _ON, smf.note_on(channel, *key)), (end, _OFF, smf.note_off(channel, key[0]))
