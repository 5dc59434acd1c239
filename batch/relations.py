"""Which phrase varies or answers which."""

from collections.abc import Sequence

import numpy as np

from batch.model import Evidence, Labels, Note, Phrase, Relation, RelationKind, notes_of

POINTS = 16
"""Points at which two phrases are compared, whatever their length (our choice)."""

LOOK_BACK = 8
"""Earlier phrases that a listener still has in the ear (our choice)."""

VARIES_FROM = 0.8
"""Similarity from which a phrase varies an earlier one (our choice)."""

NOTES_FOR_SHAPE = 4
"""Shorter phrases have too little shape to be recognised (our choice)."""

CONTOUR_SCALE_SEMITONES = 6.0
RHYTHM_SCALE = 0.25
"""Mean differences at which two contours, or two rhythms on a scale of 0..1, have nothing in common."""

ANSWER_GAP_S = 1.5
"""A longer silence ends the conversation (our choice)."""

ANSWER_REGISTER_SEMITONES = 5.0
ANSWER_ARTICULATION = 0.25
CONTRASTS_FOR_ANSWER = 2
"""An answer contrasts in two of length, density, register and articulation (our choice)."""


def relate(
    notes: Sequence[Note], phrases: Sequence[Phrase], labelled: Sequence[tuple[Labels, Evidence]]
) -> tuple[Relation, ...]:
    """Return what each phrase does with those before it.

    A phrase varies the most similar earlier one if it is similar enough; otherwise it
    answers the one before it if it contrasts after a short gap; otherwise it is new.
    """
    shapes = [_shape(notes_of(phrase, notes)) for phrase in phrases]
    return tuple(_relation(i, phrases, shapes, labelled) for i in range(len(phrases)))


def similarity(a: Sequence[Note], b: Sequence[Note]) -> float | None:
    """Return how alike two phrases are, 0..1, whatever their key and tempo; None if too short to say."""
    return _alike(_shape(a), _shape(b))


def _relation(
    i: int,
    phrases: Sequence[Phrase],
    shapes: Sequence[np.ndarray | None],
    labelled: Sequence[tuple[Labels, Evidence]],
) -> Relation:
    earlier = {k: _alike(shapes[k], shapes[i]) for k in range(max(0, i - LOOK_BACK), i)}
    known = {k: alike for k, alike in earlier.items() if alike is not None}
    best = max(known, key=lambda k: (known[k], k), default=None)
    if best is not None and known[best] >= VARIES_FROM:
        return Relation(RelationKind.VARIES, best, round(known[best], 3))
    if i and _answers(phrases[i - 1 : i + 1], labelled[i - 1 : i + 1]):
        alike = earlier[i - 1]
        return Relation(RelationKind.ANSWERS, i - 1, None if alike is None else round(alike, 3))
    return Relation(RelationKind.NEW, None, None)


def _answers(pair: Sequence[Phrase], labelled: Sequence[tuple[Labels, Evidence]]) -> bool:
    call, answer = pair
    if answer.start_s - call.end_s > ANSWER_GAP_S:
        return False
    (words, before), (other_words, after) = labelled
    contrasts = [
        words.length != other_words.length,
        words.density != other_words.density,
        abs(before.register - after.register) >= ANSWER_REGISTER_SEMITONES,
        before.articulation is not None
        and after.articulation is not None
        and abs(before.articulation - after.articulation) >= ANSWER_ARTICULATION,
    ]
    return sum(contrasts) >= CONTRASTS_FOR_ANSWER


def _shape(notes: Sequence[Note]) -> np.ndarray | None:
    """Return contour and rhythm at POINTS even steps through the notes, shape (2, POINTS)."""
    if len(notes) < NOTES_FOR_SHAPE:
        return None
    onsets = np.array([note.onset_s for note in notes])
    pitches = np.array([note.pitch_midi for note in notes])
    at = np.linspace(0, len(notes) - 1, POINTS)
    contour = np.interp(at, np.arange(len(notes)), pitches - np.median(pitches))
    rhythm = np.interp(at, np.arange(len(notes)), (onsets - onsets[0]) / (onsets[-1] - onsets[0]))
    return np.array([contour / CONTOUR_SCALE_SEMITONES, rhythm / RHYTHM_SCALE])


def _alike(a: np.ndarray | None, b: np.ndarray | None) -> float | None:
    if a is None or b is None:
        return None
    return float(np.clip(1 - np.abs(a - b).mean(axis=1), 0, 1).mean())
