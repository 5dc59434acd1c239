"""How well notes were heard, by mir_eval; all scores 0 to 1."""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import mir_eval
import numpy as np
from numpy.typing import NDArray

from .making.takes import Line

ONSET_S, NEAR_ONSET_S = 0.05, 0.025
CENTS, OFFSET_SHARE = 50.0, 0.2  # mir_eval's own defaults, those of MIREX note tracking
SHORTEST_S = 0.001


@dataclass(frozen=True, slots=True)
class Match:
    """Precision and recall of one list against another."""

    precision: float
    recall: float

    @property
    def f(self) -> float:
        """Their harmonic mean."""
        both = self.precision + self.recall
        return 2.0 * self.precision * self.recall / both if both else 0.0


@dataclass(frozen=True, slots=True)
class Scores:
    """F of a take's onsets within 50 and 25 ms, its notes, its notes with their ends; None: not heard for."""

    on50: float
    on25: float
    note: float | None
    full: float | None


def scores_of(truth: Line, onsets_s: NDArray[np.float64], notes: Line | None) -> Scores:
    """Return the scores of what a listener found in a take."""
    return Scores(
        on50=onset_match(truth[:, 0], onsets_s, ONSET_S).f,
        on25=onset_match(truth[:, 0], onsets_s, NEAR_ONSET_S).f,
        note=None if notes is None else note_match(truth, notes).f,
        full=None if notes is None else note_match(truth, notes, with_offset=True).f,
    )


def onset_match(truth_s: NDArray[np.float64], found_s: NDArray[np.float64], window_s: float) -> Match:
    """Return how far ``found_s`` are ``truth_s``; nothing found where nothing is counts as all right."""
    if not len(truth_s) or not len(found_s):
        return nothing_to_match(len(truth_s), len(found_s))
    _, precision, recall = mir_eval.onset.f_measure(np.sort(truth_s), np.sort(found_s), window=window_s)
    return Match(float(precision), float(recall))


def note_match(truth: Line, found: Line, *, with_offset: bool = False) -> Match:
    """Return how far the notes ``found`` are ``truth``, both (n, 3)."""
    if not len(truth) or not len(found):
        return nothing_to_match(len(truth), len(found))
    precision, recall, _, _ = mir_eval.transcription.precision_recall_f1_overlap(
        *intervals_and_hz(truth),
        *intervals_and_hz(found),
        onset_tolerance=ONSET_S,
        pitch_tolerance=CENTS,
        offset_ratio=OFFSET_SHARE if with_offset else None,
    )
    return Match(float(precision), float(recall))


def matched(truth: Line, found: Line) -> list[tuple[int, int]]:
    """Return which note of ``truth`` was found as which of ``found``, by onset and pitch."""
    if not len(truth) or not len(found):
        return []
    pairs: list[tuple[int, int]] = mir_eval.transcription.match_notes(
        *intervals_and_hz(truth), *intervals_and_hz(found), offset_ratio=None
    )
    return pairs


def nothing_to_match(true: int, found: int) -> Match:
    """Return the match of two lists of which one or both are empty."""
    return Match(float(not found), float(not true))


def intervals_and_hz(line: Line) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what mir_eval wants: (n, 2) onset and offset in s, and (n,) Hz."""
    ends = np.maximum(line[:, 1], line[:, 0] + SHORTEST_S)
    return np.column_stack([line[:, 0], ends]), mir_eval.util.midi_to_hz(line[:, 2])


def mean_scores(scores: Sequence[Scores]) -> Scores:
    """Return the mean over takes."""
    means = {}
    for field in fields(Scores):
        values = [getattr(score, field.name) for score in scores]
        means[field.name] = None if None in values or not values else float(np.mean(values))
    return Scores(**means)  # type: ignore[arg-type]  # on50 and on25 are never None
