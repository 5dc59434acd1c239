"""What makes a phrase tense, and each of its notes: parts from 0 to 1, and their weighted mean.

A part is measured on a fixed scale, that of annotated jazz solos, and not on the take's own: were every take
stretched to its own range, the least differences of an even one would read as builds and peaks. Register and
dynamics alone start from the take's own middle, for what is high or loud depends on who plays.
"""

import statistics
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from batch.leaning import groove_tension
from batch.model import ChordRole, Evidence, Harmony, HeldNote, Note, Phrase, notes_of
from batch.percentiles import Percentiles
from batch.settings import GrooveSettings, TensionSettings

GROOVE, DENSITY, REGISTER, DYNAMICS, HELD, HARMONY = PARTS = (
    "groove", "density", "register", "dynamics", "held", "harmony",
)  # fmt: skip

DYNAMICS_DB = 10.0
"""So much above the take's middle is the top of the scale, so much below it the bottom: a wind instrument's
soft and loud notes lie about 20 dB apart (Patterson 1974, Scientific American 231(5), from memory)."""

LEAST_DYNAMICS_DB = 1.0
"""A take whose notes differ less is one without dynamics: a keyboard without touch, or no levels told. The
least difference in level that is heard is about this (textbook, from memory)."""

ROLE_TENSION = {ChordRole.CHORD_TONE: 0.0, ChordRole.EXTENSION: 0.5, ChordRole.OUTSIDE: 1.0}
"""How tense a note is over its chord; an extension is half way out (our choice)."""


@dataclass(frozen=True, slots=True)
class Parts:
    """Every part for each phrase and each note, shape (parts, phrases) and (parts, notes).

    NaN is not measured. A part that is measured nowhere, or has no weight, has weight 0; the others' add
    up to 1.
    """

    phrases: np.ndarray
    notes: np.ndarray
    weights: np.ndarray

    def of_phrases(self) -> np.ndarray:
        """Return the tension of each phrase."""
        return _mean(self.phrases, self.weights)

    def of_notes(self) -> np.ndarray:
        """Return the tension of each note."""
        return _mean(self.notes, self.weights)


def _mean(parts: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Return the weighted mean of what was measured of each column; 0 where nothing was."""
    known = ~np.isnan(parts)
    weight = np.where(known, weights[:, None], 0.0)
    total = weight.sum(axis=0)
    return np.where(known, parts * weight, 0.0).sum(axis=0) / np.where(total > 0, total, 1.0)


def parts_of(
    notes: Sequence[Note],
    phrases: Sequence[Phrase],
    evidence: Sequence[Evidence],
    held: Sequence[HeldNote],
    harmony: Harmony | None,
    *,
    percentiles: Mapping[str, Percentiles],
    settings: TensionSettings,
    groove: GrooveSettings,
) -> Parts:
    """Measure every part; the notes that lie in no phrase have none but their own."""
    of_notes = {
        REGISTER: _register_of(notes, percentiles),
        DYNAMICS: _dynamics_of(notes),
        HELD: _held_of(notes, held),
        HARMONY: _harmony_of(notes, harmony),
    }
    of_phrases = {
        GROOVE: _groove_of(evidence, percentiles, groove),
        DENSITY: _density_of(evidence, percentiles),
        REGISTER: percentiles["register"].position(np.array([each.register for each in evidence])),
        DYNAMICS: np.array([_median(of_notes[DYNAMICS][phrase.span]) for phrase in phrases]),
        HELD: np.array(list(_held_shares(phrases, held))),
        HARMONY: np.array([_by_duration(of_notes[HARMONY], notes, phrase) for phrase in phrases]),
    }
    owners = np.full(len(notes), -1)
    for number, phrase in enumerate(phrases):
        owners[phrase.span] = number
    for name in (GROOVE, DENSITY):
        of_notes[name] = np.append(of_phrases[name], np.nan)[owners]
    stacked = np.array([of_phrases[name] for name in PARTS])
    weights = np.array([getattr(settings, f"{name}_weight") for name in PARTS])
    weights = np.where(np.isnan(stacked).all(axis=1), 0.0, weights)
    total = weights.sum()
    return Parts(stacked, np.array([of_notes[name] for name in PARTS]), weights / total if total else weights)


def _groove_of(
    evidence: Sequence[Evidence], percentiles: Mapping[str, Percentiles], groove: GrooveSettings
) -> np.ndarray:
    values = _floats(groove_tension(each, groove) for each in evidence)
    return _where_known(percentiles["groove_tension"], values)


def _density_of(evidence: Sequence[Evidence], percentiles: Mapping[str, Percentiles]) -> np.ndarray:
    """Return the density of each phrase; one note has none of its own, however short it is."""
    in_beats = all(each.notes_per_beat is not None for each in evidence)
    values = _floats(
        None if each.note_count == 1 else each.notes_per_beat if in_beats else each.notes_per_s
        for each in evidence
    )
    return _where_known(percentiles["notes_per_beat" if in_beats else "notes_per_s"], values)


def _register_of(notes: Sequence[Note], percentiles: Mapping[str, Percentiles]) -> np.ndarray:
    pitches = np.array([note.pitch_midi for note in notes])
    return percentiles["register"].position(pitches - np.median(pitches))


def _dynamics_of(notes: Sequence[Note]) -> np.ndarray:
    levels = np.array([note.loudness_db for note in notes])
    if np.ptp(levels) < LEAST_DYNAMICS_DB:
        return np.full(len(notes), np.nan)
    return np.clip(0.5 + (levels - np.median(levels)) / (2 * DYNAMICS_DB), 0, 1)


def _held_of(notes: Sequence[Note], held: Sequence[HeldNote]) -> np.ndarray:
    values = np.zeros(len(notes))
    for each in held:
        values[each.note : each.last_note + 1] = 1.0
    return values


def _held_shares(phrases: Sequence[Phrase], held: Sequence[HeldNote]) -> Iterator[float]:
    """Yield the share of each phrase's time that held notes take."""
    lasting_s = [0.0] * len(phrases)
    for each in held:
        lasting_s[each.phrase] += each.duration_s
    for phrase, held_s in zip(phrases, lasting_s, strict=True):
        yield min(1.0, held_s / (phrase.end_s - phrase.start_s))


def _harmony_of(notes: Sequence[Note], harmony: Harmony | None) -> np.ndarray:
    if harmony is None:
        return np.full(len(notes), np.nan)
    return _floats(None if role is None else ROLE_TENSION[role] for role in harmony.roles)


def _by_duration(values: np.ndarray, notes: Sequence[Note], phrase: Phrase) -> float:
    """Return the mean over a phrase's notes by how long they last; NaN if none was measured."""
    lasting_s = np.array([note.offset_s - note.onset_s for note in notes_of(phrase, notes)])
    known = ~np.isnan(values[phrase.span])
    if not known.any():
        return float("nan")
    return float(np.average(values[phrase.span][known], weights=lasting_s[known]))


def _median(values: np.ndarray) -> float:
    return statistics.median(values.tolist())


def _floats(values: Iterable[float | None]) -> np.ndarray:
    return np.array([float("nan") if value is None else value for value in values])


def _where_known(table: Percentiles, values: np.ndarray) -> np.ndarray:
    return np.where(np.isnan(values), np.nan, table.position(np.nan_to_num(values)))
