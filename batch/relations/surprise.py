"""How surprising an interval or a change of pace is, in nats: what is rare is recognised.

Shannon, C. E. (1948). "A mathematical theory of communication": the information of an event is
the negative logarithm of its probability. Probabilities are those of annotated jazz solos, of each
interval given the one before (as in the melodic expectation of Pearce, M. (2005). "The construction
and evaluation of statistical models of melodic structure in music perception and composition", with
a context of one): a step that goes on with a run, a repeated note, an even row of eighths say little.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from math import log

import numpy as np
from pydantic import TypeAdapter

WIDEST = 12
"""Intervals beyond an octave are counted with the octave: they are too few to count (our choice)."""

RATIO_EDGES = np.log(2.0) * np.array([-1.3, -0.8, -0.35, 0.35, 0.8, 1.3])
"""Classes of the ratio of an inter-onset interval to the one before, as logarithms: about alike, and
about 1.5, 2 and more times as long or as short; a swung pair is one of these (our choice)."""

FURTHEST = 3
"""Notes that are compared lie so many apart at most: two may be left out between them."""


@dataclass(frozen=True, slots=True)
class Surprise:
    """What intervals and ratios tell, in nats; intervals are indexed from -WIDEST on.

    ``across`` has, for notes 1, 2 and 3 apart, the information of each interval between them,
    ``after`` that of each interval (column) after each other one (row); ``ratio`` and ``ratio_after``
    the same of ratios of inter-onset intervals.
    """

    across: tuple[tuple[float, ...], ...]
    after: tuple[tuple[float, ...], ...]
    ratio: tuple[float, ...]
    ratio_after: tuple[tuple[float, ...], ...]

    def __post_init__(self) -> None:
        wide, classes = 2 * WIDEST + 1, len(RATIO_EDGES) + 1
        shapes = (
            (self.across, (FURTHEST, wide)), (self.after, (wide, wide)),
            (self.ratio, (classes,)), (self.ratio_after, (classes, classes)),
        )  # fmt: skip
        if any(np.shape(table) != shape for table, shape in shapes):
            raise ValueError("the tables of surprise do not fit one another")


@dataclass(frozen=True, slots=True)
class Way:
    """How high matches of one way of varying score by chance.

    A pair of phrases that have nothing to do with each other scores ``x`` or more with the chance
    exp(``log_rate`` - ``decay`` * x): an exponential tail (Karlin, S. & Altschul, S. (1990). "Methods
    for assessing the statistical significance of molecular sequence features by using general scoring
    schemes". PNAS 87), both numbers fitted here.
    """

    decay: float
    log_rate: float


@dataclass(frozen=True, slots=True)
class Chance:
    """What chance gives: the information in a line, and the scores of phrases of different solos."""

    provenance: dict[str, str | int | float]
    ways: tuple[Way, ...]
    surprise: Surprise

    def surely(self, scores: np.ndarray) -> np.ndarray:
        """Return how unlikely by chance scores (..., ways) are, as -log of the probability."""
        decay = np.array([way.decay for way in self.ways])
        return np.asarray(scores * decay - np.array([way.log_rate for way in self.ways]))


def load_chance() -> Chance:
    """Read what ``batch.relations.fit`` wrote."""
    text = files("batch.relations").joinpath("chance.json").read_text(encoding="utf-8")
    return TypeAdapter(Chance).validate_json(text)


def surprise_of(lines: Sequence[tuple[np.ndarray, np.ndarray]]) -> Surprise:
    """Count what phrases do, each a pair of pitches in semitones and onsets in seconds.

    Rare things are counted as if seen once more; after each interval the frequencies are drawn
    towards the general ones as if PRIOR notes more had been heard.
    """
    intervals = [[clip_interval(pitch[k:] - pitch[:-k]) for pitch, _ in lines] for k in (1, 2, 3)]
    ratios = [
        ratio_classes(np.diff(np.log(np.maximum(np.diff(onset_s), SHORTEST_S)))) for _, onset_s in lines
    ]
    across = [_information(np.concatenate(each), 2 * WIDEST + 1) for each in intervals]
    ratio = _information(np.concatenate(ratios), len(RATIO_EDGES) + 1)
    return Surprise(
        across=tuple(map(tuple, across)),
        after=_information_after(intervals[0], across[0]),
        ratio=tuple(ratio),
        ratio_after=_information_after(ratios, ratio),
    )


PRIOR = 20
"""Notes by which rare contexts are drawn towards the general frequencies (our choice)."""
DIGITS = 3


def clip_interval(interval: np.ndarray) -> np.ndarray:
    """Return intervals in semitones as indices of a table."""
    return np.clip(interval, -WIDEST, WIDEST) + WIDEST


def ratio_classes(log_ratio: np.ndarray) -> np.ndarray:
    """Return the class of ratios of an inter-onset interval to the one before, given as logarithms."""
    return np.digitize(log_ratio, RATIO_EDGES)


SHORTEST_S = 0.01
"""Notes that start closer together count as this far apart: no player plays so fast (our choice)."""


def _information(seen: np.ndarray, size: int) -> list[float]:
    counts = np.bincount(seen, minlength=size) + 1
    return [round(-log(count / counts.sum()), DIGITS) for count in counts]


def _information_after(
    lines: Sequence[np.ndarray], general: Sequence[float]
) -> tuple[tuple[float, ...], ...]:
    size = len(general)
    counts = np.zeros((size, size))
    for line in lines:
        np.add.at(counts, (line[:-1], line[1:]), 1)
    share = (counts + PRIOR * np.exp(-np.array(general))) / (counts.sum(axis=1, keepdims=True) + PRIOR)
    return tuple(tuple(round(float(value), DIGITS) for value in row) for row in -np.log(share))
