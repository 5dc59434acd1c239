"""Which earlier phrase a phrase varies, and what it does with it."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

import numpy as np

from batch.model import Relation, RelationKind
from batch.relations.alignment import (
    INVERSION,
    ONSET_SPREAD_S,
    PACE_SPREAD,
    RHYTHM,
    WAYS,
    aligned,
    scores,
)
from batch.relations.lines import Floats, Integers, Lines
from batch.relations.surprise import Chance

EXPECTED = np.array([0.3, 0.25, 0.2, 0.15, 0.1])
"""How phrases are varied, by WAYS: each way gets its share of the false alarms allowed (our choice)."""

KEPT_FROM = 0.75
"""So many steps must agree for something to be called kept (our choice)."""

NEAR = 2
"""Semitones by which an interval in the same direction differs when a phrase goes through the scale."""

NEARLY = 0.5
"""What such an interval counts in the similarity, or one that is turned upside down (our choice)."""

SURE_OF_TIME = 2.5
"""Standard deviations within which a time is the same (99 in 100, were they normal)."""


@dataclass(frozen=True, slots=True)
class Position:
    """Where in its bar each note of a take stands, in beats, how many a ``bar`` has, how long one is."""

    in_bar: Floats
    bar: float
    beat_s: float


@dataclass(frozen=True, slots=True)
class Taken:
    """What a phrase takes up of an earlier one.

    ``notes`` is how many either phrase has, ``pairs`` are the places of aligned notes in either,
    ``replaced`` how many other notes have one in their place. Of the steps between aligned notes ``pitch``
    says what each interval counts (1 the same, NEARLY much alike), ``same_way`` whether it has the same
    direction, ``in_time`` whether its time agrees; ``tempo`` is the ratio of times, ``higher`` the
    median of the semitones from one note to the other.
    """

    way: int
    notes: tuple[int, int]
    pairs: Integers
    replaced: int
    pitch: Floats
    same_way: Floats
    in_time: Floats
    tempo: float
    higher: int

    @property
    def similarity(self) -> float:
        """How alike the phrases are, 0..1: the share of notes taken up, times what of them is kept.

        The share is the normalised insertion-deletion similarity, 2 m / (n + n') of m notes aligned; of what
        is kept half is pitch and half is rhythm.
        """
        share = 2 * len(self.pairs) / sum(self.notes)
        return round(share * float(self.pitch.mean() + self.in_time.mean()) / 2, 3)


def best_earlier(
    lines: Lines, chance: Chance, *, look_back: int, by_chance: float
) -> list[tuple[int, int] | None]:
    """Return for each phrase the one it varies and the way it does, None where it varies none.

    The earlier phrases share the false alarms allowed in inverse proportion to how far back they
    lie (a Bonferroni correction, weighted by what is likely to be in the ear: Genovese, C. and others
    (2006). "False discovery control with p-value weighting". Biometrika 93): the further back, the surer
    a likeness must be.
    """
    count = len(lines.first)
    back = min(look_back, count - 1)
    if back < 1:
        return [None] * count
    weight = _weights(back)
    surely = chance.surely(scores(lines, back)) + np.log(EXPECTED) + weight[:, None]
    best = surely.reshape(count, -1).argmax(axis=1)
    sure = surely.reshape(count, -1).max(axis=1) >= -log(by_chance)
    found: list[tuple[int, int] | None] = [
        (i - 1 - int(at) // len(WAYS), int(at) % len(WAYS)) if known else None
        for i, (at, known) in enumerate(zip(best, sure, strict=True))
    ]
    # What is said again as it was is heard as that, whatever else it is like nearer by.
    return [again or chosen for chosen, again in zip(found, _said_again(lines, look_back), strict=True)]


def _said_again(lines: Lines, look_back: int) -> list[tuple[int, int] | None]:
    """Return for each phrase the last one with the same notes in the same time: said again, however plain."""
    last: dict[bytes, int] = {}
    found: list[tuple[int, int] | None] = []
    for i, (a, b) in enumerate(zip(lines.first, lines.end, strict=True)):
        pitches = lines.semitone[a:b].tobytes()
        earlier = last.get(pitches)
        same = earlier is not None and i - earlier <= look_back and b - a >= NOTES_AGAIN
        found.append((earlier, 0) if earlier is not None and same and _in_time(lines, earlier, i) else None)
        last[pitches] = i
    return found


def _in_time(lines: Lines, earlier: int, later: int) -> bool:
    """Return whether two phrases of as many notes have the same time between all of them."""
    mine = slice(lines.first[earlier] + 1, lines.end[earlier])
    theirs = slice(lines.first[later] + 1, lines.end[later])
    unsure = lines.unsure[1, mine] + lines.unsure[1, theirs]
    off = lines.pace[1, mine] - lines.pace[1, theirs]
    return bool((abs(off) <= SURE_OF_TIME * _spread(unsure)).all())


NOTES_AGAIN = 4
"""So many notes said again as they were are no chance (our choice)."""


def _spread(unsure: Floats) -> Floats:
    """Return the standard deviation of the logarithm of two times' ratio if they are meant to be the same."""
    return np.sqrt(PACE_SPREAD**2 + ONSET_SPREAD_S**2 * unsure)


def _weights(look_back: int) -> Floats:
    back = np.arange(1, look_back + 1)
    return np.asarray(-np.log(back) - log(float((1 / back).sum())))


def taken_up(views: Sequence[Lines], earlier: int, later: int, way: int) -> Taken:
    """Return what phrase ``later`` takes up of ``earlier``, as the first of ``views`` that aligns them."""
    lines = views[0]
    each = (aligned(view, earlier, later, way) for view in views)
    pairs = next(pairs for pairs in each if len(pairs) > 1)
    mine, theirs = pairs[:, 0] + lines.first[earlier], pairs[:, 1] + lines.first[later]
    apart = np.diff(pairs, axis=0)
    p, q = apart[:, 0], apart[:, 1]
    was, now = lines.interval[p, mine[1:]], lines.interval[q, theirs[1:]]
    same_way = np.sign(was) == np.sign(now)
    pitch = np.where(was == now, 1.0, np.where(same_way & (abs(was - now) <= NEAR), NEARLY, 0.0))
    if way == INVERSION:
        pitch = np.where(was == -now, NEARLY, 0.0)
    pace = lines.pace[q, theirs[1:]] - lines.pace[p, mine[1:]]
    tempo = float(np.median(pace))
    unsure = lines.unsure[p, mine[1:]] + lines.unsure[q, theirs[1:]]
    return Taken(
        way=way,
        notes=(int(lines.count[earlier]), int(lines.count[later])),
        pairs=pairs,
        replaced=int((np.minimum(p, q) - 1).sum()) + _replaced_at_the_ends(lines, earlier, later, pairs),
        pitch=pitch,
        same_way=same_way.astype(float),
        in_time=(abs(pace - tempo) <= SURE_OF_TIME * _spread(unsure)).astype(float),
        tempo=float(np.exp(tempo)),
        higher=int(np.rint(np.median(lines.semitone[theirs] - lines.semitone[mine]))),
    )


def _replaced_at_the_ends(lines: Lines, earlier: int, later: int, pairs: Integers) -> int:
    notes = np.array([lines.count[earlier], lines.count[later]])
    return int(pairs[0].min() + (notes - 1 - pairs[-1]).min())


def variation(
    views: Sequence[Lines], earlier: int, later: int, way: int, position: Position | None
) -> Relation:
    """Describe how phrase ``later`` varies phrase ``earlier``; ``position`` is None without a grid."""
    lines = views[0]
    taken = taken_up(views, earlier, later, way)
    notes, others = taken.notes
    kept = tuple(_kept(taken))
    return Relation(
        RelationKind.VARIES,
        earlier,
        taken.similarity,
        kept=kept,
        notes_kept=len(taken.pairs),
        transposed=taken.higher if {"intervals", "contour"} & set(kept) else None,
        stretched=round(taken.tempo, 2) if "rhythm" in kept else None,
        notes_left_out=notes - len(taken.pairs) - taken.replaced,
        notes_added=others - len(taken.pairs) - taken.replaced,
        notes_replaced=taken.replaced,
        displaced_beats=_displaced(lines, earlier, later, taken, position)
        if position is not None and "rhythm" in kept
        else None,
    )


def _kept(taken: Taken) -> Sequence[str]:
    kept = []
    if taken.way == INVERSION:
        kept.append("inversion")
    elif (taken.pitch == 1).mean() >= KEPT_FROM and taken.way != RHYTHM:
        kept.append("intervals")
    elif taken.same_way.mean() >= KEPT_FROM:
        kept.append("contour")
    if taken.in_time.mean() >= KEPT_FROM:
        kept.append("rhythm")
    return kept


POSITION_STEPS = 12
"""Parts of a beat to which a displacement is told: halves, thirds and quarters (arithmetic)."""

SAME_PLACE_BEATS, SAME_PLACE_S = 1 / 6, 0.05
"""As near as this it stands where it stood: less is timing, and no player means it (our choice)."""


def _displaced(lines: Lines, earlier: int, later: int, taken: Taken, position: Position) -> float:
    """Return how many beats later in the bar it stands, below 0 if earlier; at most half a bar either way.

    Where its tempo is kept the median of its notes says so.
    """
    mine, theirs = taken.pairs[:, 0] + lines.first[earlier], taken.pairs[:, 1] + lines.first[later]
    bar = position.bar
    later_by = position.in_bar[theirs] - position.in_bar[mine]
    if abs(log(taken.tempo)) >= PACE_SPREAD:
        later_by = later_by[:1]
    # A note over the bar line counts from there: all are brought within half a bar of the first.
    about = (later_by - later_by[0] + bar / 2) % bar - bar / 2
    moved = bar / 2 - (bar / 2 - float(later_by[0] + np.median(about))) % bar
    if abs(moved) < max(SAME_PLACE_BEATS, SAME_PLACE_S / position.beat_s):
        return 0.0
    return round(moved * POSITION_STEPS) / POSITION_STEPS
