"""A take's phrases as what is compared: intervals, inter-onset intervals, and how surprising they are."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from batch.model import Note, Phrase
from batch.relations.surprise import FURTHEST, SHORTEST_S, Surprise, clip_interval, ratio_classes

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Lines:
    """Phrases ready to be compared.

    ``first`` and ``end`` say which notes each phrase has, ``semitone`` how high each note is. Tables
    of shape (FURTHEST + 1, notes) have in row k what lies between a note and the k-th before it: the
    ``interval``, the logarithm of the time (``pace``), 1 / time² (``unsure``, how much a shift of an
    onset changes that), the information of the interval (``told``). ``rhythm_told`` is that of the ratio
    of the last two inter-onset intervals, 0 where a phrase has not yet had two. All tables
    end at a phrase's start: nothing is compared across it.
    """

    first: Integers
    end: Integers
    semitone: Integers
    interval: Integers
    pace: Floats
    unsure: Floats
    told: Floats
    rhythm_told: Floats

    @property
    def count(self) -> Integers:
        """How many notes each phrase has."""
        return self.end - self.first

    def plain(self) -> "Lines":
        """Return the same with what is common as telling as most: once phrases are known to be alike, the
        plainest of their notes are as much a part of them."""
        return replace(
            self,
            told=np.maximum(self.told, PLAINLY_TOLD),
            rhythm_told=np.maximum(self.rhythm_told, PLAINLY_TOLD),
        )


PLAINLY_TOLD = 2.0
"""Nats: about the mean of intervals and ratios in annotated solos, 2.4 and 1.6."""


def lines_of(notes: Sequence[Note], phrases: Sequence[Phrase], surprise: Surprise) -> Lines:
    """Measure the phrases of a take."""
    return measured(
        np.array([note.onset_s for note in notes]),
        semitones(np.array([note.pitch_midi for note in notes])),
        np.array([phrase.first_note for phrase in phrases], dtype=np.int64),
        np.array([phrase.last_note + 1 for phrase in phrases], dtype=np.int64),
        surprise,
    )


def semitones(pitch: Floats) -> Integers:
    """Return the nearest semitones of pitches, where the instrument's own tuning puts them.

    Pitches are heard in fractions. How far the take lies off its semitones is the circular mean
    of the fractions (Fisher, N. I. (1993). "Statistical analysis of circular data").
    """
    if not pitch.size:
        return np.zeros(0, np.int64)
    off = float(np.angle(np.exp(2j * np.pi * pitch).mean())) / (2 * np.pi)
    return np.rint(pitch - off).astype(np.int64)


_FIRST_RATIO = 2
"""Three notes make the first ratio of a phrase; the next has one before it."""

OWN_FROM = 50
"""Notes of a take that count as much as all solos in how often it does something (our choice: with
50, 200 and infinitely many, as many relations are told in solos at equal false alarms)."""


def measured(
    onset_s: Floats, semitone: Integers, first: Integers, end: Integers, surprise: Surprise
) -> Lines:
    """Return what is compared of phrases that are given by their notes.

    What a take does often is no surprise in it, however seldom others do it: of both frequencies the
    higher counts (as in composition-based statistics: Schäffer, A. and others (2001). "Improving the
    accuracy of PSI-BLAST protein database searches". Nucleic Acids Research 29).
    """
    notes = len(onset_s)
    interval = np.zeros((FURTHEST + 1, notes), np.int64)
    apart_s = np.ones((FURTHEST + 1, notes))
    told = np.zeros((FURTHEST + 1, notes))
    place = np.arange(notes) - first[np.searchsorted(first, np.arange(notes), side="right") - 1]
    for k in range(1, min(FURTHEST, notes - 1) + 1):
        interval[k, k:] = semitone[k:] - semitone[:-k]
        apart_s[k, k:] = np.maximum(onset_s[k:] - onset_s[:-k], SHORTEST_S)
        told[k] = _told(clip_interval(interval[k]), place >= k, surprise.across[k - 1])
    pace = np.log(apart_s)
    # In the context of the note before, where there is one.
    step, after = clip_interval(interval[1]), np.array(surprise.after)
    told[1, 1:] = np.where(
        place[1:] >= _FIRST_RATIO, np.minimum(told[1, 1:], after[step[:-1], step[1:]]), told[1, 1:]
    )
    kind = np.concatenate([[0], ratio_classes(np.diff(pace[1]))]) if notes else np.zeros(0, np.int64)
    rhythm_told = _told(kind, place >= _FIRST_RATIO, surprise.ratio)
    ratio_after = np.array(surprise.ratio_after)[kind[:-1], kind[1:]]
    rhythm_told[1:] = np.where(
        place[1:] > _FIRST_RATIO, np.minimum(rhythm_told[1:], ratio_after), rhythm_told[1:]
    )
    return Lines(first, end, semitone, interval, pace, apart_s**-2.0, told, rhythm_told)


def _told(kind: Integers, there: NDArray[np.bool_], general: Sequence[float]) -> Floats:
    """Return the information of what is ``there``, 0 elsewhere."""
    expected = np.exp(-np.array(general))
    counts = np.bincount(kind[there], minlength=len(expected))
    own = (counts + OWN_FROM * expected) / (counts.sum() + OWN_FROM)
    return np.where(there, -np.log(np.maximum(own, expected))[kind], 0.0)
