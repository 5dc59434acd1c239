"""Where somebody talks, from what sounds a tenth of a second at a time, and how sure its notes are."""

from collections.abc import Sequence
from itertools import pairwise
from statistics import median

import numpy as np
from numpy.typing import NDArray

from batch.hearing.scene import Scene
from batch.model import Note

Bools = NDArray[np.bool_]

TALKING = 1.4  # log-odds from which a row is talking: a lost phrase costs more than a word too many
SOUNDS = 0.25  # share of a row in which something sounds; less is a pause
PAUSE_ROWS = 3  # rows, 0.28 s, of silence that part what is said and played (common practice, no source)
BREATH_S = 4.0  # what sounds no longer than that without a pause is of one sort: talking or playing
PAUSES_S = 2.0  # pauses up to that long belong to the talking on both sides
SHORTEST_S = 0.8  # of talking altogether: a word
SURE = 0.9  # confidence of notes that hardly ever are syllables (rendered solos)
SCRAP = 0.6  # median confidence under which notes beside talking are more of it
REST_S = 0.3  # s that part such notes from others
WORD_S, WORD_NOTES = 1.0, 3  # s of a word at most, and of the rest around it; notes in it (our choice)
BESIDE_S = 2.5  # s from talking to a scrap of it: a pause in a conversation (our choice)
SUNG = 2.5  # log-odds by which talking must be likelier if sure notes fill it: then it is singing


Span = tuple[float, float]


def talks_in(scene: Scene, notes: Sequence[Note], clicks: Sequence[Span] = ()) -> list[Span]:
    """Return where somebody talks in ``scene``: (start_s, end_s), by start.

    Not where the ``notes`` heard are many and sure, and not within ``clicks``.
    """
    if not len(scene.start_s):
        return []
    sounds = scene.audible >= SOUNDS
    for start_s, end_s in clicks:
        sounds &= (scene.start_s < start_s - scene.row_s) | (scene.start_s >= end_s)
    talks = _of_one_sort(scene, sounds)
    joined: list[tuple[int, int]] = []
    for first, end in _runs(talks):
        pauses = bool(joined) and not sounds[joined[-1][1] : first].any()
        if pauses and (first - joined[-1][1]) * scene.row_s <= PAUSES_S:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((first, end))
    spans = [(float(scene.start_s[a]), float(scene.start_s[b - 1]) + scene.row_s) for a, b in joined]
    long = [span for span in spans if span[1] - span[0] >= SHORTEST_S]
    return _with_scraps([span for span in long if not _is_line(span, scene, sounds, notes)], notes)


def _with_scraps(talks: Sequence[Span], notes: Sequence[Note]) -> list[Span]:
    """Return ``talks``, each with the unsure or lone groups of notes that follow it or lead to it."""
    rest = [note for note in notes if not any(start <= note.onset_s < end for start, end in talks)]
    starts = [i for i, note in enumerate(rest) if not i or note.onset_s - rest[i - 1].offset_s >= REST_S]
    groups = [rest[first:end] for first, end in pairwise([*starts, len(rest)])]
    scraps = [
        (group[0].onset_s, group[-1].offset_s)
        for at, group in enumerate(groups)
        if median(note.confidence for note in group) < SCRAP or _is_word(at, groups)
    ]
    grown = [list(span) for span in talks]
    for span in grown:
        for start_s, end_s in scraps:
            if 0 <= start_s - span[1] <= BESIDE_S:
                span[1] = end_s
        for start_s, end_s in reversed(scraps):
            if 0 <= span[0] - end_s <= BESIDE_S:
                span[0] = start_s
    return [(span[0], span[1]) for span in grown]


def _is_line(span: Span, scene: Scene, sounds: Bools, notes: Sequence[Note]) -> bool:
    """Return whether the notes heard within ``span`` are too sure to be syllables."""
    rows = sounds & (scene.start_s >= span[0]) & (scene.start_s < span[1])
    inside = [note for note in notes if span[0] <= (note.onset_s + note.offset_s) / 2 < span[1]]
    sure_s = sum(note.offset_s - note.onset_s for note in inside if note.confidence > SURE)
    share = sure_s / (float(rows.sum()) * scene.row_s)
    return float(np.median(scene.talking[rows])) < TALKING + SUNG * share


def _is_word(at: int, groups: Sequence[Sequence[Note]]) -> bool:
    """Return whether a group is a few notes with a rest around them: beside talking, a word or a try."""
    group = groups[at]
    before_s = groups[at - 1][-1].offset_s if at else -np.inf
    after_s = groups[at + 1][0].onset_s if at + 1 < len(groups) else np.inf
    lone = min(group[0].onset_s - before_s, after_s - group[-1].offset_s) >= WORD_S
    return lone and len(group) <= WORD_NOTES and group[-1].offset_s - group[0].onset_s <= WORD_S


def _of_one_sort(scene: Scene, sounds: Bools) -> Bools:
    """Return (n,) which rows are talking; between pauses, the majority decides for all."""
    talks = sounds & (scene.talking > TALKING)
    for first, end in _runs(_closed(sounds)):
        if scene.start_s[end - 1] - scene.start_s[first] <= BREATH_S:
            said = talks[first:end].sum() > 0.5 * sounds[first:end].sum()
            talks[first:end] = said
    return talks


def _closed(sounds: Bools) -> Bools:
    """Return ``sounds`` with the silences shorter than PAUSE_ROWS filled."""
    filled = sounds.copy()
    for first, end in _runs(~sounds):
        if end - first < PAUSE_ROWS:
            filled[first:end] = True
    return filled


def _runs(which: Bools) -> list[tuple[int, int]]:
    """Return (first, end) of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], which, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]
