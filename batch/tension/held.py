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
    standard = Standard.of(notes, grid, limits)
    return tuple(
        held
        for number, phrase in enumerate(phrases)
        for held in _held_in(notes, phrase, number, standard, limits)
    )


def _held_in(
    notes: Sequence[Note], phrase: Phrase, number: int, standard: Standard, limits: HeldSettings
) -> Iterator[HeldNote]:
    for first, last in _runs(notes_of(phrase, notes)):
        run = range(phrase.first_note + first, phrase.first_note + last + 1)
        each = [_alone(notes, index, phrase, number, standard, limits) for index in run]
        if len(run) >= limits.repeated_from:
            yield _together(notes, run, number, [held for held in each if held])
        else:
            yield from (held for held in each if held)


def _runs(notes: Sequence[Note]) -> Iterator[tuple[int, int]]:
    """Yield the first and last place of each run of notes on one pitch, that of its first."""
    first = 0
    for place in range(1, len(notes) + 1):
        if place == len(notes) or not _is_same(notes[first], notes[place]):
            yield first, place - 1
            first = place


def _is_same(one: Note, other: Note) -> bool:
    return abs(one.pitch_midi - other.pitch_midi) < SAME_PITCH_SEMITONES


def _alone(
    notes: Sequence[Note], index: int, phrase: Phrase, number: int, standard: Standard, limits: HeldSettings
) -> HeldNote | None:
    note, duration = notes[index], standard.durations[index]
    duration_s = note.offset_s - note.onset_s
    if duration_s < limits.long_from_s:
        return None
    why = (LONG,) if duration >= standard.long_from else ()
    if duration >= limits.emphasised_from_medians * standard.median and (
        _stands_out_by_db(notes, index, phrase) >= limits.emphasised_from_db
    ):
        why += (EMPHASISED,)
    return HeldNote(index, index, number, duration_s, why) if why else None


def _stands_out_by_db(notes: Sequence[Note], index: int, phrase: Phrase) -> float:
    """Return how much louder a note is than the median of those around it; a lone note by nothing."""
    start, end = max(phrase.first_note, index - SURROUNDINGS), min(phrase.last_note, index + SURROUNDINGS)
    around = [notes[i].loudness_db for i in range(start, end + 1) if i != index]
    return notes[index].loudness_db - statistics.median(around) if around else 0.0


def _together(notes: Sequence[Note], run: range, number: int, each: Sequence[HeldNote]) -> HeldNote:
    why = dict.fromkeys([REPEATED, *(reason for held in each for reason in held.why)])
    duration_s = max(notes[i].offset_s for i in run) - notes[run[0]].onset_s
    return HeldNote(run[0], run[-1], number, duration_s, tuple(why))


def with_degrees(held: Sequence[HeldNote], degrees: Sequence[str | None]) -> tuple[HeldNote, ...]:
    """Return held notes with what they are over the chords; ``degrees`` has one entry a note."""
    return tuple(replace(each, degree=degrees[each.note]) for each in held)
