"""What two phrases have in common: the best local alignment of their notes, for each way of varying.

A local alignment (Smith, T. & Waterman, M. (1981). "Identification of common molecular subsequences".
J. Mol. Biol. 147) of melodies, in which a note may be replaced, left out, put in, or made of several
(Mongeau, M. & Sankoff, D. (1990). "Comparison of musical sequences". Computers and the Humanities
24). What is compared is the interval between notes that are aligned, and the time between them against
the time in the other phrase, so that neither key nor tempo matters (Lemström, K. & Ukkonen, E. (2000).
"Including interval encoding into edit distance based music comparison and retrieval"). Departures: a note
replaced or put in costs only itself, since intervals are taken from one aligned note to the next; and
what agrees scores as much as it is surprising (log odds in nats), so that runs and repeated notes,
which go with anything, score little.
"""

from math import log

import numpy as np

from batch.hearing.compiling import compiled, one_at_a_time
from batch.relations.lines import Floats, Integers, Lines
from batch.relations.surprise import FURTHEST

WAYS = ("intervals and rhythm", "intervals", "contour and rhythm", "rhythm", "inversion and rhythm")
"""Ways to vary a phrase, by what is kept."""
INTERVALS, CONTOUR, RHYTHM, INVERSION = 1, 2, 3, 4

EXACT, SEMITONE_OFF = log(0.85), log(0.06)
"""How surely an interval is kept, and how seldom it is a semitone out: by the scale, by a bend, by the
hearing (our choice)."""
BY_STEPS = (log(0.5), log(0.2), log(0.05))
"""The same where a phrase is carried through the scale: the interval, a semitone or two off (our choice)."""

PACE_SPREAD = 0.12
ONSET_SPREAD_S = 0.018
"""Spread of the logarithm of a time that is kept, and of an onset: 6-12 ms when tapping, more in jazz and
by the hearing (our choice)."""
PACE_KEPT, PACE_LOST = log(0.9), log(0.05)
"""How surely times are kept, and the least that one which is not can cost (our choice)."""
PACE_MEMORY = 4
"""Steps over which the tempo of one phrase against the other is averaged (our choice)."""

_MINE = np.array([1, 2, 1, 2, 1, 3])
_THEIRS = np.array([1, 2, 2, 1, 3, 1])
_MOVE = np.log([0.75, 0.1, 0.1, 0.1, 0.05, 0.05])
"""From one pair of aligned notes to the next: note by note, one replaced, one or two put in or left out;
how usual each is (our choice)."""
_REPLACED = 1

COVERED = 0.5
"""So much of the shorter phrase must be taken up for one to be a variation of the other; of cover from 0.5 to
0.75, this told the most relations in solos at equal false alarms."""
STEPS_FROM = 2
RHYTHM_STEPS_FROM = 3
"""Fewer steps have no shape: three notes are the least, four for a rhythm alone (our choice)."""

MOST_NOTES = 200
"""Of a longer phrase the start is compared, so that a take without a rest needs no more memory than others;
no phrase of the corpus has more than 137 notes."""

ENDS_MEET, ENDS_DIFFER = log(0.5 / 0.1), log(0.5 / 0.9)
SAME_PITCH, OTHER_PITCH = log(0.5 / 0.1), log(0.5 / 0.9)
"""Half of variations start (and end) where the phrase does, half keep its pitch; one match by chance in ten
(our choice)."""

NOTHING = _NEVER = -1e9
"""The score of phrases with nothing in common."""
_A_START = 1e-9
"""Where a rhythm begins there is nothing to compare yet, and it must be better than nothing."""


def scores(lines: Lines, look_back: int) -> Floats:
    """Return how well each phrase aligns with those before it.

    Returns
    -------
    ndarray, shape (phrases, look_back, ways), nats
        At [i, d - 1] phrase i against the d-th before it; far below zero where nothing is in common.
    """
    later = np.repeat(np.arange(len(lines.first)), look_back)
    earlier = later - np.tile(np.arange(1, look_back + 1), len(lines.first))
    found = np.full((len(later), len(WAYS)), _NEVER)
    known = earlier >= 0
    found[known] = scores_of(lines, earlier[known], later[known])
    return found.reshape(len(lines.first), look_back, len(WAYS))


def scores_of(lines: Lines, earlier: Integers, later: Integers) -> Floats:
    """Return the scores of pairs of phrases, shape (pairs, ways)."""
    return np.asarray(_scores(earlier, later, _longest(lines), *_tables(lines)))


def aligned(lines: Lines, earlier: int, later: int, way: int) -> Integers:
    """Return the notes aligned in the best alignment, shape (pairs, 2): places in either phrase, from 0."""
    return np.asarray(_aligned(earlier, later, way, _longest(lines), *_tables(lines)))


def compile_alignment() -> None:
    """Have what aligns compiled, by one process at a time."""
    with one_at_a_time(_scores):
        none = np.zeros((FURTHEST + 1, 1))
        one = np.zeros(1, np.int64)
        lines = Lines(one, one + 1, one, none.astype(np.int64), none, none, none, none[0])
        scores_of(lines, np.zeros(0, np.int64), np.zeros(0, np.int64))
        aligned(lines, 0, 0, 0)


def _longest(lines: Lines) -> int:
    return min(MOST_NOTES, int(lines.count.max(initial=0)))


def _tables(lines: Lines) -> tuple[Integers | Floats, ...]:
    return (
        lines.first, lines.end, lines.semitone, lines.interval,
        lines.pace, lines.unsure, lines.told, lines.rhythm_told,
    )  # fmt: skip


@compiled
def _pitch_score(way, mine, theirs, told):  # type: ignore[no-untyped-def]
    """Return what an interval against another one scores, or _NEVER."""
    if way == RHYTHM:
        return 0.0
    if way == INVERSION:
        mine = -mine
    off = abs(mine - theirs)
    same_way = (mine > 0) == (theirs > 0) and (mine < 0) == (theirs < 0)
    if way == CONTOUR:
        return BY_STEPS[off] + told if same_way and off < len(BY_STEPS) else _NEVER
    if off == 0:
        return EXACT + told
    return SEMITONE_OFF + told if off == 1 and (same_way or way == INTERVALS) else _NEVER


@compiled
def _pace_score(way, off, unsure, told):  # type: ignore[no-untyped-def]
    """Return what a time against another one scores; ``off`` is how far its logarithm is from the tempo's."""
    if way == INTERVALS:
        return 0.0
    score = PACE_KEPT + told - off**2 / (2 * (PACE_SPREAD**2 + ONSET_SPREAD_S**2 * unsure))
    if score <= PACE_LOST:
        return _NEVER if way == RHYTHM else PACE_LOST
    return score


@compiled
def _fill(way, a, b, total, tempo, steps, began, came, *tables):  # type: ignore[no-untyped-def]  # noqa: PLR0912, PLR0917
    """Align phrase ``a`` with phrase ``b`` one way; return the score and where the best alignment ends.

    Cell (i, j) holds the best alignment that ends with note i of ``a`` on note j of ``b``: its ``total``,
    its ``tempo`` (log of ``b``'s times over ``a``'s), its ``steps`` (0 where there is none), where it
    ``began`` and how it ``came`` here. Each cell is told by those before it: few have anything to tell.
    """
    first, end, semitone, interval, pace, unsure, told, rhythm_told = tables
    mine, theirs = min(MOST_NOTES, end[a] - first[a]), min(MOST_NOTES, end[b] - first[b])
    shorter = min(mine, theirs)
    least = RHYTHM_STEPS_FROM if way == RHYTHM else STEPS_FROM
    moves = _REPLACED + 1 if way == RHYTHM else len(_MOVE)
    total[:mine, :theirs] = 0.0
    steps[:mine, :theirs] = 0
    best, at_i, at_j = _NEVER, 0, 0
    for i in range(mine):
        for j in range(theirs):
            so_far = steps[i, j]
            # An alignment starts with a step, not with an edit.
            for move in range(moves if so_far else 1):
                p, q = _MINE[move], _THEIRS[move]
                h, k = i + p, j + q
                if h >= mine or k >= theirs:
                    continue
                x, y = first[a] + h, first[b] + k
                pitch = _pitch_score(way, interval[p, x], interval[q, y], min(told[p, x], told[q, y]))
                if pitch == _NEVER:
                    continue
                score = total[i, j] + _MOVE[move] + pitch
                off = pace[q, y] - pace[p, x]
                if so_far:
                    ratio_told = min(rhythm_told[x], rhythm_told[y]) if move == 0 else 0.0
                    kept = _pace_score(way, off - tempo[i, j], unsure[p, x] + unsure[q, y], ratio_told)
                    if kept == _NEVER:
                        continue
                    score += kept
                elif way == RHYTHM:
                    score = _A_START
                if score > total[h, k]:
                    total[h, k], steps[h, k], came[h, k] = score, so_far + 1, move
                    if so_far:
                        tempo[h, k] = tempo[i, j] + (off - tempo[i, j]) / min(so_far + 1, PACE_MEMORY)
                        began[h, k, 0], began[h, k, 1] = began[i, j, 0], began[i, j, 1]
                    else:
                        tempo[h, k] = off
                        began[h, k, 0], began[h, k, 1] = i, j
            if so_far < least:
                continue
            taken = i - began[i, j, 0] if mine == shorter else j - began[i, j, 1]
            if taken + 1 < COVERED * shorter:
                continue
            score = total[i, j]
            score += ENDS_MEET if began[i, j, 0] == 0 and began[i, j, 1] == 0 else ENDS_DIFFER
            score += ENDS_MEET if i == mine - 1 and j == theirs - 1 else ENDS_DIFFER
            if way < CONTOUR:
                same = semitone[first[a] + i] == semitone[first[b] + j]
                score += SAME_PITCH if same else OTHER_PITCH
            if score > best:
                best, at_i, at_j = score, i, j
    return best, at_i, at_j


@compiled
def _scores(earlier, later, longest, *tables):  # type: ignore[no-untyped-def]
    size = (longest, longest)
    total, tempo, steps = np.zeros(size), np.zeros(size), np.zeros(size, np.int64)
    came, began = np.zeros(size, np.int64), np.zeros((longest, longest, 2), np.int64)
    found = np.empty((len(earlier), len(WAYS)))
    for pair in range(len(earlier)):
        for way in range(len(WAYS)):
            found[pair, way] = _fill(
                way, earlier[pair], later[pair], total, tempo, steps, began, came, *tables
            )[0]
    return found


@compiled
def _aligned(earlier, later, way, longest, *tables):  # type: ignore[no-untyped-def]
    size = (longest, longest)
    total, tempo, steps = np.zeros(size), np.zeros(size), np.zeros(size, np.int64)
    came, began = np.zeros(size, np.int64), np.zeros((longest, longest, 2), np.int64)
    _, i, j = _fill(way, earlier, later, total, tempo, steps, began, came, *tables)
    path = np.empty((steps[i, j] + 1, 2), np.int64)
    for step in range(len(path) - 1, -1, -1):
        path[step, 0], path[step, 1] = i, j
        move = came[i, j]
        i, j = i - _MINE[move], j - _THEIRS[move]
    return path
