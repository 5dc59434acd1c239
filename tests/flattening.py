"""Solos flattened in one dimension at a time, and stretched: what a variety score must answer to."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from batch.grid import grid_from_tempo
from batch.groove import rubs
from batch.labels import PitchRange, evidence_of
from batch.model import Grid, Note, Phrase, TakeInfo, Variety, notes_of
from batch.percentiles import load_percentiles
from batch.pipeline import analyse
from batch.rhythm import estimate_feel
from batch.settings import GrooveSettings, Settings, VarietySettings
from batch.takes import MidiTake
from batch.tempo import TempoMap
from batch.variety import score_variety

FEWEST_PHRASES = 4
SOUNDING = 0.05  # beats: nothing is shorter
REST = 2.0  # beats between phrases that were laid out anew
QUARTER = 480
SHORTEST_S = 0.001


@dataclass(frozen=True)
class Line:
    """The notes of one phrase: onset and offset in beats, pitch; arrays of shape (n,)."""

    onset: np.ndarray
    offset: np.ndarray
    pitch: np.ndarray

    @property
    def start(self) -> float:
        """Where it begins, in beats."""
        return float(self.onset[0])

    @property
    def end(self) -> float:
        """Where it ends, in beats."""
        return float(self.offset.max())

    @property
    def length(self) -> float:
        """How long it is, in beats."""
        return self.end - self.start

    def moved(self, beats: float = 0.0, semitones: float = 0.0) -> "Line":
        """Return it later and higher."""
        return Line(self.onset + beats, self.offset + beats, self.pitch + semitones)

    def with_pitches(self, pitch: np.ndarray) -> "Line":
        """Return it with other pitches."""
        return Line(self.onset, self.offset, pitch)

    def sounding(self, share: float) -> "Line":
        """Return it with each note lasting a share of the time to the next."""
        until_next = np.append(np.diff(self.onset), self.offset[-1] - self.onset[-1])
        return Line(self.onset, self.onset + np.maximum(until_next * share, SOUNDING), self.pitch)

    def cut(self, beats: float) -> "Line":
        """Return its first beats."""
        kept = self.onset < self.start + beats - SOUNDING
        ends = np.minimum(self.offset[kept], self.start + beats)
        return Line(self.onset[kept], np.maximum(ends, self.onset[kept] + SOUNDING), self.pitch[kept])

    def filling(self, beats: float) -> "Line":
        """Return it of just this length: cut, or said again until it is."""
        times = range(int(np.ceil(beats / np.ceil(self.length))))
        again = [self.moved(time * np.ceil(self.length)) for time in times]
        onset, offset, pitch = (
            np.concatenate([getattr(one, name) for one in again]) for name in ("onset", "offset", "pitch")
        )
        return Line(onset, offset, pitch).cut(beats)

    def evened(self, per_beat: float) -> "Line":
        """Return it with evenly spaced notes between its ends."""
        count = max(1, round(self.length * per_beat))
        onset = self.start + np.arange(count) / per_beat
        pitch = self.pitch[np.arange(count) * len(self.pitch) // count]
        return Line(onset, np.append(onset[1:] - SOUNDING, max(self.end, onset[-1] + SOUNDING)), pitch)

    def on(self, cell: float) -> "Line":
        """Return it on the nearest multiples of this many beats, one note each."""
        onset, first = np.unique(np.round(self.onset / cell) * cell, return_index=True)
        ends = np.maximum(self.offset[first], onset + SOUNDING)
        return Line(onset, np.minimum(ends, np.append(onset[1:], np.inf)), self.pitch[first])

    def thinned(self) -> "Line":
        """Return its first note in every second beat."""
        _, first = np.unique(np.floor((self.onset - self.start) / 2), return_index=True)
        return Line(self.onset[first], np.append(self.onset[first][1:], self.end), self.pitch[first])

    def in_steps(self, semitones: float) -> "Line":
        """Return it going the same ways, always this far."""
        ways = np.where(np.diff(self.pitch) < 0, -1, 1)
        return self.with_pitches(self.pitch[0] + semitones * np.append(0, np.cumsum(ways)))


Solo = Sequence[Line]
Change = Callable[[Solo], Solo]


def apart(lines: Iterable[Line]) -> list[Line]:
    """Return phrases one after another, each where in its beat it was."""
    now, laid = 0.0, []
    for line in lines:
        laid.append(line.moved(np.ceil(now) + line.start % 1 - line.start))
        now = laid[-1].end + REST
    return laid


def _in_turn(one: Callable[[Line], Line], other: Callable[[Line], Line]) -> Change:
    return lambda solo: [other(line) if place % 2 else one(line) for place, line in enumerate(solo)]


def _one_length(solo: Solo) -> Solo:
    beats = float(np.median([line.length for line in solo]))
    return apart(line.filling(beats) for line in solo)


def _one_density(solo: Solo) -> Solo:
    per_beat = float(np.median([len(line.onset) / line.length for line in solo]))
    return [line.evened(per_beat) for line in solo]


def _far_in_length(solo: Solo) -> Solo:
    return apart(_in_turn(lambda line: line.filling(24.0), lambda line: line.cut(1.5))(solo))


FLATTENED: Mapping[str, Change] = {
    "length": _one_length,
    "density": _one_density,
    "articulation": lambda solo: [line.sounding(0.9) for line in solo],
    "groove": lambda solo: [line.on(1) for line in solo],
    "register": lambda solo: [line.with_pitches(60 + line.pitch % 12) for line in solo],
    "interval_size": lambda solo: [line.in_steps(2) for line in solo],
}
"""All phrases of one length, evened, quantised to the beat, folded into an octave, and so on."""

STRETCHED: Mapping[str, Change] = {
    "length": _far_in_length,
    "density": _in_turn(lambda line: line.evened(4.0), Line.thinned),
    "articulation": _in_turn(lambda line: line.sounding(1.0), lambda line: line.sounding(0.3)),
    "groove": _in_turn(lambda line: line.on(0.5), lambda line: line.on(0.5).moved(0.25)),
    "register": _in_turn(lambda line: line.moved(0, -12), lambda line: line.moved(0, 12)),
    "interval_size": _in_turn(lambda line: line.in_steps(2), lambda line: line.in_steps(5)),
}
"""Every second phrase at one extreme, the others at the other."""


def variety_of(solo: Solo, tempo_bpm: float) -> Variety:
    """Return the variety of these phrases, taken as they are."""
    notes, phrases = _played(solo, tempo_bpm)
    grid = _grid(notes, tempo_bpm)
    feel = estimate_feel(np.array([note.onset_s for note in notes]), grid)
    pitches = PitchRange.of(notes)
    evidence = [
        evidence_of(notes_of(phrase, notes), phrase, grid, rub, pitches)
        for phrase, rub in zip(phrases, rubs(notes, phrases, grid, feel), strict=True)
    ]
    return score_variety(evidence, load_percentiles(), settings=VarietySettings(), groove=GrooveSettings())


def heard_variety_of(solo: Solo, tempo_bpm: float) -> Variety:
    """Return the variety of a MIDI take of them, its phrases found by listening."""
    notes, _ = _played(solo, tempo_bpm)
    info = TakeInfo("solo.mid", notes[-1].offset_s + 1, None, None, None, None, None, "fingerprint")
    take = MidiTake(Path("solo.mid"), info, tuple(notes), TempoMap.constant(tempo_bpm, (4, 4), QUARTER))
    return analyse(take, Settings(), None).variety


def _played(solo: Solo, tempo_bpm: float) -> tuple[list[Note], list[Phrase]]:
    notes: list[Note] = []
    phrases = []
    beat_s, zero = 60 / tempo_bpm, min(0.0, np.floor(solo[0].start / 4) * 4)
    for line in solo:
        first, last_s = len(notes), notes[-1].onset_s if notes else -1.0
        spans = zip((line.onset - zero) * beat_s, (line.offset - zero) * beat_s, line.pitch, strict=True)
        notes += [
            Note(float(on), float(max(off, on + SHORTEST_S)), float(pitch), -12.0)
            for on, off, pitch in spans
            if on > last_s + SHORTEST_S  # a line moved into the one before it goes on after that
        ]
        if len(notes) == first:
            continue
        end_s = max(note.offset_s for note in notes[first:])
        phrases.append(Phrase(notes[first].onset_s, end_s, first, len(notes) - 1))
    return notes, phrases


def _grid(notes: Sequence[Note], tempo_bpm: float) -> Grid:
    duration_s = max(note.offset_s for note in notes) + 1
    return grid_from_tempo(tempo_bpm, (4, 4), duration_s=duration_s, first_downbeat_s=0.0, source="test")


def annotated_solos(corpus: Path) -> Iterator[tuple[Solo, float]]:
    """Yield each annotated solo that has phrases enough, its notes in beats, with its tempo."""
    beats = dict(list(pd.read_csv(corpus / "beats.csv.gz").groupby("solo")))
    tempos = pd.read_csv(corpus / "solos.csv").set_index("solo").tempo_bpm
    for number, notes in pd.read_csv(corpus / "notes.csv.gz").groupby("solo"):
        times = np.sort(beats[number].drop_duplicates("onset_s").onset_s.to_numpy())
        lines = [_line(phrase, times) for _, phrase in notes.sort_values("onset_s").groupby("phrase")]
        if len(lines) >= FEWEST_PHRASES:
            first_bar = np.floor(lines[0].start / 4) * 4
            yield [line.moved(-first_bar) for line in lines], float(tempos[number])


def _line(notes: pd.DataFrame, beats_s: np.ndarray) -> Line:
    onset_s = notes.onset_s.to_numpy()
    ends_s = onset_s + np.maximum(notes.duration_s.to_numpy(), SHORTEST_S)
    return Line(_in_beats(onset_s, beats_s), _in_beats(ends_s, beats_s), notes.pitch.to_numpy(dtype=float))


def _in_beats(times_s: np.ndarray, beats_s: np.ndarray) -> np.ndarray:
    """Return times in beats from the first one, beyond the ends at the nearest beat's tempo."""
    index = np.clip(np.searchsorted(beats_s, times_s, side="right") - 1, 0, len(beats_s) - 2)
    return index + (times_s - beats_s[index]) / (beats_s[index + 1] - beats_s[index])
