"""Where somebody talks, from what sounds a tenth of a second at a time, and how sure its notes are."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from batch.hearing.scene import Scene
from batch.model import Note

Bools = NDArray[np.bool_]

TALKING = 2.0  # log-odds from which a row is talking: a lost phrase costs more than a word too many
SOUNDS = 0.25  # share of a row in which something sounds; less is a pause
PAUSE_ROWS = 3  # rows, 0.28 s, of silence that part what is said and played (common practice, no source)
BREATH_S = 4.0  # what sounds no longer than that without a pause is of one sort: talking or playing
PAUSES_S = 2.0  # pauses up to that long belong to the talking on both sides
SHORTEST_S = 0.8  # of talking altogether: a word
SURE = 0.9  # confidence of notes that hardly ever are syllables (rendered solos)
SUNG = 6.0  # log-odds by which talking must be likelier if sure notes fill it: then it is singing


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
    return [span for span in long if not _is_line(span, scene, sounds, notes)]


def _is_line(span: Span, scene: Scene, sounds: Bools, notes: Sequence[Note]) -> bool:
    """Return whether the notes heard within ``span`` are too sure to be syllables."""
    rows = sounds & (scene.start_s >= span[0]) & (scene.start_s < span[1])
    inside = [note for note in notes if span[0] <= (note.onset_s + note.offset_s) / 2 < span[1]]
    sure_s = sum(note.offset_s - note.onset_s for note in inside if note.confidence > SURE)
    share = sure_s / (float(rows.sum()) * scene.row_s)
    return float(np.median(scene.talking[rows])) < TALKING + SUNG * share


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
