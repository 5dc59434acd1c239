"""A take's phrases as what is compared: intervals, inter-onset intervals, and how surprising they are."""

from collections.abc import Sequence
from dataclasses import dataclass

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


def lines_of(notes: Sequence[Note], phrases: Sequence[Phrase], surprise: Surprise) -> Lines:
    """Measure the phrases of a take."""
    onset_s = np.array([note.onset_s for note in notes])
    return measured(
        onset_s,
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


def measured(
    onset_s: Floats, semitone: Integers, first: Integers, end: Integers, surprise: Surprise
) -> Lines:
    """Return what is compared of phrases that are given by their notes."""
    notes = len(onset_s)
    interval = np.zeros((FURTHEST + 1, notes), np.int64)
    apart_s = np.ones((FURTHEST + 1, notes))
    told = np.zeros((FURTHEST + 1, notes))
    for k in range(1, min(FURTHEST, notes - 1) + 1):
        interval[k, k:] = semitone[k:] - semitone[:-k]
        apart_s[k, k:] = np.maximum(onset_s[k:] - onset_s[:-k], SHORTEST_S)
        told[k] = np.array(surprise.across[k - 1])[clip_interval(interval[k])]
    rhythm_told = np.zeros(notes)
    after, ratio_after = np.array(surprise.after), np.array(surprise.ratio_after)
    ratio = np.array(surprise.ratio)
    for a, b in zip(first, end, strict=True):
        step = clip_interval(interval[1, a + 1 : b])
        told[1, a + 2 : b] = after[step[:-1], step[1:]]
        kind = ratio_classes(onset_s[a:b])
        rhythm_told[a + 2 : b][:1] = ratio[kind[:1]]
        rhythm_told[a + 3 : b] = ratio_after[kind[:-1], kind[1:]]
    return Lines(first, end, semitone, interval, np.log(apart_s), apart_s**-2.0, told, rhythm_told)
