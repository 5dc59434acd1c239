"""Notes that are held: long by the take's own standard, struck again and again, or leant on."""

import statistics
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from batch.model import Grid, HeldNote, Note, Phrase, notes_of
from batch.rhythm import beat_positions
from batch.settings import HeldSettings

LONG, REPEATED, EMPHASISED = "long", "repeated", "emphasised"

SAME_PITCH_SEMITONES = 0.5
"""Pitches nearer than this are the same one, intonation and vibrato aside (arithmetic: half a semitone)."""

SURROUNDINGS = 4
"""Notes to either side, within the phrase, that a note is louder than (our choice)."""

_SD_PER_MAD = 1.4826
"""Of a normal distribution (Hampel 1974, from memory)."""


@dataclass(frozen=True, slots=True)
class Standard:
    """How long this take's notes last, so that one may be called long: in beats where there is a grid."""

    durations: tuple[float, ...]
    median: float
    long_from: float

    @classmethod
    def of(cls, notes: Sequence[Note], grid: Grid | None, limits: HeldSettings) -> "Standard":
        """Take the standard from a take's notes, of which there must be some.

        The line is far above the median both as a factor and in median absolute deviations of the
        logarithms, for durations spread by ratios: in a ballad the spread is wide, and few notes pass.
        """
        durations = _durations(notes, grid)
        logs = np.log(durations)
        middle = float(np.median(logs))
        spread = _SD_PER_MAD * float(np.median(np.abs(logs - middle)))
        median = float(np.exp(middle))
        factor = max(limits.long_from_medians, float(np.exp(limits.long_from_deviations * spread)))
        return cls(tuple(durations.tolist()), median, factor * median)


def _durations(notes: Sequence[Note], grid: Grid | None) -> np.ndarray:
    edges = np.array([(note.onset_s, note.offset_s) for note in notes])
    if grid is not None:
        edges = beat_positions(edges.ravel(), grid).reshape(edges.shape) * grid.felt_beats
    return np.maximum(edges[:, 1] - edges[:, 0], np.finfo(float).tiny)


def held_notes(
    notes: Sequence[Note], phrases: Sequence[Phrase], grid: Grid | None, limits: HeldSettings
) -> tuple[HeldNote, ...]:
    """Return the held notes of a take in order, each with its reasons."""
    if not phrases:
        return ()
    take = _Take(notes, Standard.of(notes, grid, limits), limits)
    return tuple(held for number, phrase in enumerate(phrases) for held in take.held_in(phrase, number))


@dataclass(frozen=True, slots=True)
class _Take:
    notes: Sequence[Note]
    standard: Standard
    limits: HeldSettings

    def held_in(self, phrase: Phrase, number: int) -> Iterator[HeldNote]:
        """Yield what one phrase holds."""
        for first, last in _runs(notes_of(phrase, self.notes)):
            run = range(phrase.first_note + first, phrase.first_note + last + 1)
            each = [(index, why) for index in run if (why := self._why(index, phrase))]
            if len(run) >= self.limits.repeated_from:
                reasons = dict.fromkeys([REPEATED, *(reason for _, why in each for reason in why)])
                yield self._held(run[0], run[-1], number, tuple(reasons))
            else:
                yield from (self._held(index, index, number, why) for index, why in each)

    def _held(self, first: int, last: int, number: int, why: tuple[str, ...]) -> HeldNote:
        end_s = max(note.offset_s for note in self.notes[first : last + 1])
        return HeldNote(first, last, number, end_s - self.notes[first].onset_s, why)

    def _why(self, index: int, phrase: Phrase) -> tuple[str, ...]:
        """Return why a note counts as held by itself; nothing if it does not."""
        note, duration, limits = self.notes[index], self.standard.durations[index], self.limits
        if note.offset_s - note.onset_s < limits.long_from_s:
            return ()
        stays = duration >= limits.emphasised_from_medians * self.standard.median
        is_loud = stays and self._stands_out_by_db(index, phrase) >= limits.emphasised_from_db
        is_long = duration >= self.standard.long_from
        return (*((LONG,) if is_long else ()), *((EMPHASISED,) if is_loud else ()))

    def _stands_out_by_db(self, index: int, phrase: Phrase) -> float:
        """Return how much louder a note is than the median of those around it; a lone note by nothing."""
        start = max(phrase.first_note, index - SURROUNDINGS)
        end = min(phrase.last_note, index + SURROUNDINGS)
        around = [self.notes[i].loudness_db for i in range(start, end + 1) if i != index]
        return self.notes[index].loudness_db - statistics.median(around) if around else 0.0


def _runs(notes: Sequence[Note]) -> Iterator[tuple[int, int]]:
    """Yield the first and last place of each run of notes on one pitch, that of its first."""
    first = 0
    for place in range(1, len(notes) + 1):
        if place == len(notes) or not _is_same(notes[first], notes[place]):
            yield first, place - 1
            first = place


def _is_same(one: Note, other: Note) -> bool:
    return abs(one.pitch_midi - other.pitch_midi) < SAME_PITCH_SEMITONES


def with_degrees(held: Sequence[HeldNote], degrees: Sequence[str | None]) -> tuple[HeldNote, ...]:
    """Return held notes with what they are over the chords; ``degrees`` has one entry a note."""
    return tuple(replace(each, degree=degrees[each.note]) for each in held)
