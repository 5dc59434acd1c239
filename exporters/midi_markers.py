"""Phrases as a MIDI marker track that a recording program imports.

What programs accept was measured with many variants of the file: one reads markers only
from the last track and only where the first track has notes; tempo events off the beat put
another out by 100 ms; cue points and text outside ASCII each broke one. One track with
tempo, meter, markers and a note a phrase is read by all, to 0.3 ms.
"""

import io
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import mido

from batch.model import Analysis, Density, Groove, LabelledPhrase, Length
from batch.settings import CountsFrom
from batch.tempo import TempoMap
from batch.tempo_cut import cut_at
from exporters.base import phrase_names
from exporters.counting import counts_from_session, start_s

TICKS_PER_QUARTER = 960

_ROWS = {
    (Length.SHORT, Density.SPARSE): 60,
    (Length.SHORT, Density.DENSE): 62,
    (Length.LONG, Density.SPARSE): 64,
    (Length.LONG, Density.DENSE): 65,
}
"""Pitch of the span notes, so that a piano roll shows length and density as rows: C D E F."""

_VELOCITIES = {Groove.IN_GROOVE: 64, Groove.AGAINST_GROOVE: 112, Groove.UNMEASURED: 80}

_CLOCKS_PER_METRONOME_CLICK = 24

Timed = tuple[int, int, mido.Message | mido.MetaMessage]
"""Tick, order within the tick, message."""

_LONGEST_DELTA = 0x0FFFFFFF
"""Ticks from one event to the next, in four bytes (Standard MIDI Files 1.0): 38 hours at 120 a minute."""
_NOTHING = mido.Message("note_off", note=0, velocity=0)
"""Lets go a key that is not held: says that time passes, which only events can."""

_OFF, _CONDUCTOR, _MARK, _ON = range(4)


@dataclass(frozen=True, slots=True)
class MidiMarkers:
    """Markers (FF 06) at phrase starts, and one note a phrase spanning its length."""

    midi_format: Literal[0, 1] = 0
    event: Literal["marker", "cue-point"] = "marker"
    spans: bool = True
    session_tempo_bpm: float = 120.0
    counts_from: CountsFrom = "auto"
    suffix: str = ".markers.mid"

    def render(self, analysis: Analysis) -> bytes:
        """Return a Standard MIDI File 1.0."""
        clock = SessionClock.of(analysis, self.counts_from, self.session_tempo_bpm)
        marks = list(self._marks(analysis.phrases, clock))
        spans = list(_spans(analysis.phrases, clock)) if self.spans else []
        conductor = list(clock.conductor())
        tracks = [[*conductor, *marks, *spans]] if self.midi_format == 0 else [[*conductor, *marks], spans]
        return smf(tracks)

    def _marks(self, phrases: tuple[LabelledPhrase, ...], clock: "SessionClock") -> Iterable[Timed]:
        kind = "marker" if self.event == "marker" else "cue_marker"
        for name, phrase in zip(phrase_names(phrases), phrases, strict=True):
            yield clock.tick(phrase.start_s), _MARK, mido.MetaMessage(kind, text=name)


@dataclass(frozen=True, slots=True)
class MidiNotes:
    """The heard notes, in a file of their own."""

    session_tempo_bpm: float = 120.0
    counts_from: CountsFrom = "auto"
    suffix: str = ".notes.mid"

    def render(self, analysis: Analysis) -> bytes:
        """Return a Standard MIDI File 1.0 with the notes rounded to semitones."""
        clock = SessionClock.of(analysis, self.counts_from, self.session_tempo_bpm)
        notes = (
            _note(clock, note.onset_s, note.offset_s, round(note.pitch_midi), velocity(note.loudness_db))
            for note in analysis.notes
        )
        return smf([[*clock.conductor(), *(event for pair in notes for event in pair)]])


@dataclass(frozen=True, slots=True)
class SessionClock:
    """The tempo map that a file states, and where in it the take starts."""

    tempo_map: TempoMap
    starts_at_s: float

    @classmethod
    def of(cls, analysis: Analysis, counts_from: CountsFrom, session_tempo_bpm: float) -> "SessionClock":
        """Take the session's own map where positions count from its zero, the take's where from its start.

        Where there is no such map, the session's tempo. An estimated grid has no map and never
        becomes the file's.
        """
        grid, from_session = analysis.grid, counts_from_session(analysis, counts_from)
        if grid is None or grid.tempo_map is None or (from_session and not grid.spans_session):
            return cls.steady(session_tempo_bpm, start_s(analysis, counts_from))
        tempo_map = grid.tempo_map.on_beats(TICKS_PER_QUARTER)
        if from_session:
            return cls(tempo_map, grid.starts_at_s)
        return cls(cut_at(tempo_map, grid.starts_at_s), 0.0)

    @classmethod
    def steady(cls, tempo_bpm: float, starts_at_s: float) -> "SessionClock":
        """Run at one tempo in 4/4."""
        return cls(TempoMap.constant(tempo_bpm, (4, 4), TICKS_PER_QUARTER), starts_at_s)

    def tick(self, time_s: float) -> int:
        """Return the tick of a time in the take."""
        return max(0, round(self.tempo_map.ticks_at(self.starts_at_s + time_s)))

    def conductor(self) -> Iterable[Timed]:
        """Yield meter and tempo, both stated at tick 0."""
        for meter in self.tempo_map.meters:
            yield (
                meter.tick,
                _CONDUCTOR,
                mido.MetaMessage(
                    "time_signature",
                    numerator=meter.numerator,
                    denominator=meter.denominator,
                    clocks_per_click=_CLOCKS_PER_METRONOME_CLICK,
                ),
            )
        for change in self.tempo_map.tempos:
            yield change.tick, _CONDUCTOR, mido.MetaMessage("set_tempo", tempo=change.us_per_quarter)


def velocity(loudness_db: float) -> int:
    """Return the MIDI velocity of a level: the inverse of 40 log10(velocity / 127) (General MIDI 2)."""
    return min(127, max(1, round(127 * 10 ** (loudness_db / 40))))


def smf(tracks: list[list[Timed]]) -> bytes:
    """Return the file of these tracks: format 0 where there is one, else format 1."""
    midi = mido.MidiFile(type=int(len(tracks) > 1), ticks_per_beat=TICKS_PER_QUARTER, charset="ascii")
    midi.tracks.extend(_track(events) for events in tracks)
    stream = io.BytesIO()
    midi.save(file=stream)
    return stream.getvalue()


def _track(events: list[Timed]) -> mido.MidiTrack:
    track = mido.MidiTrack()
    last = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        while tick - last > _LONGEST_DELTA:
            track.append(_NOTHING.copy(time=_LONGEST_DELTA))
            last += _LONGEST_DELTA
        track.append(message.copy(time=tick - last))
        last = tick
    return track


def _spans(phrases: tuple[LabelledPhrase, ...], clock: SessionClock) -> Iterable[Timed]:
    for phrase in phrases:
        labels = phrase.labels
        row, loudness = _ROWS[labels.length, labels.density], _VELOCITIES[labels.groove]
        yield from _note(clock, phrase.start_s, phrase.end_s, row, loudness)


def _note(
    clock: SessionClock, onset_s: float, offset_s: float, pitch: int, loudness: int
) -> tuple[Timed, Timed]:
    start = clock.tick(onset_s)
    end = max(clock.tick(offset_s), start + 1)
    on = mido.Message("note_on", note=pitch, velocity=loudness)
    return (start, _ON, on), (end, _OFF, mido.Message("note_off", note=pitch, velocity=0))
