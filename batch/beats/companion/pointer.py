"""Activations to beats and bars: the likeliest way of a pointer that turns once a beat.

The bar-pointer model of Krebs, Böck & Widmer (2015, "An efficient state-space model for joint
tempo and meter tracking", ISMIR), in which tempo changes at beats only. That makes it a
semi-Markov chain over beats, solved here beat by beat; the bar is found afterwards, on beats.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from batch.beats.companion.pieces import Floats
from batch.beats.companion.spectra import FRAMES_A_S
from batch.hearing.compiling import compiled

BPM_LIMITS = (38.0, 300.0)
"""Felt tempo of backings, with room to spare."""
FELT_BPM, FELT_OCTAVES = 120.0, 1.0
"""Weak prior of the first tempo; the network hears which pulse is felt."""
STEADY = 70.0
"""Cost of a beat longer by a share: exp(-70 |share|). Krebs and others use 100 on recordings of 30 s."""
MOST_CHANGE = 0.15
HINT_SHARE = 0.2
"""A stated tempo is the backing's within this share: bands drift."""
LEAST, MOST = 0.005, 0.995
"""Limits of a probability: a network is never sure."""
EVEN_ODDS = 0.12
"""Activation at which a beat is as likely as none: a pulse gains by beats above and loses by those below."""
WINDOW_S, SETTLED_S = 120.0, 20.0
"""Decoded at once, and how much of its end is decoded again with what follows."""
STARTS = 1.5
"""Log-odds that the first beat heard is the first of a bar: it decides where the halves of bars are alike."""
OTHER_PHASE = 7.0
"""Cost of a bar with a beat more or less."""
BARS = {4: 0.0, 3: -0.03, 6: -0.2, 5: -0.15, 7: -0.2}
"""Beats a bar that are looked for where no meter is stated, and their log-odds by beat (our choice). Not two:
halves of 4/4 sound like that."""


def beats_in(
    activation: Floats, tempo_bpm: float | None = None, share: float = HINT_SHARE
) -> NDArray[np.float64]:
    """Return the frames of the beats, between frames, for the activation (n,) of beats.

    Their tempo stays within ``share`` of ``tempo_bpm`` where that is given.
    """
    low, high = BPM_LIMITS
    if tempo_bpm:
        low, high = tempo_bpm * (1 - share), tempo_bpm * (1 + share)
    spans = np.arange(max(4, math.floor(60 * FRAMES_A_S / high)), math.ceil(60 * FRAMES_A_S / low) + 1)
    centre = 60 * FRAMES_A_S / (tempo_bpm or FELT_BPM)
    prior = -0.5 * (np.log2(spans / centre) / FELT_OCTAVES) ** 2
    window, settled = int(WINDOW_S * FRAMES_A_S), int(SETTLED_S * FRAMES_A_S)
    beats: list[int] = []
    start, entry = 0, -1
    while start < len(activation):
        part = np.clip(activation[start : start + window].astype(np.float64), LEAST, MOST)
        found = _decoded(np.log(part / EVEN_ODDS), spans, prior, entry)
        last = start + window >= len(activation)
        kept = found if last else found[found < window - settled]
        beats += [start + int(at) for at in kept[(1 if entry >= 0 else 0) :]]
        if last or len(kept) < 2:  # noqa: PLR2004  nothing to go on from
            if last:
                break
            start, entry = start + window - settled, -1
            continue
        entry = int(np.argmin(np.abs(spans - (kept[-1] - kept[-2]))))
        start += int(kept[-1])
    return _between_frames(np.array(beats, dtype=np.int64), activation)


def _between_frames(beats: NDArray[np.int64], activation: Floats) -> NDArray[np.float64]:
    """Return the top of the parabola through each beat's frame and its neighbours."""
    inner = np.clip(beats, 1, len(activation) - 2)
    left, mid, right = (activation[inner + off].astype(np.float64) for off in (-1, 0, 1))
    bend = left - 2 * mid + right
    off = np.where(bend < -1e-6, 0.5 * (left - right) / np.minimum(bend, -1e-6), 0.0)  # noqa: PLR2004
    return beats + np.clip(off, -0.5, 0.5)


@compiled
def _decoded(on, spans, prior, entry):  # type: ignore[no-untyped-def]  # noqa: PLR0912  compiled whole
    """Return the frames of the beats of the likeliest way.

    ``on`` (n,) is what a beat at a frame gains. Enters anywhere, or, where
    ``entry`` is a number of a span, with a beat of that span at frame 0. Ends anywhere after which
    no beat fits in.
    """
    count, kinds = len(on), len(spans)
    score = np.full((count, kinds), -np.inf)
    back = np.full((count, kinds), -1, np.int16)
    for t in range(count):
        for s in range(kinds):
            span = spans[s]
            before = t - span
            if before < 0:
                if entry < 0:
                    score[t, s] = prior[s] + on[t]
                elif t == 0:
                    score[t, s] = on[t] if s == entry else -np.inf
                continue
            best, which = -np.inf, -1
            lowest = max(0, int(span / (1.0 + MOST_CHANGE)) - spans[0])
            highest = min(kinds - 1, int(span / (1.0 - MOST_CHANGE)) - spans[0])
            for other in range(lowest, highest + 1):
                change = abs(span / spans[other] - 1.0)
                value = score[before, other] - STEADY * change
                if value > best:
                    best, which = value, other
            if which >= 0 and best > -np.inf:
                score[t, s] = best + on[t]
                back[t, s] = which
    top, at, kind = -np.inf, -1, -1
    for t in range(max(0, count - spans[-1]), count):
        for s in range(kinds):
            if t + spans[s] >= count:
                value = score[t, s]
                if value > top:
                    top, at, kind = value, t, s
    path = np.empty(count // spans[0] + 2, np.int64)
    filled = 0
    while at >= 0:
        path[filled] = at
        filled += 1
        which = back[at, kind]
        at -= spans[kind]
        if which < 0:
            break
        kind = which
    return path[:filled][::-1].copy()


def bars_in(
    firsts: Floats, beats: NDArray[np.float64], per_bar: Sequence[int]
) -> tuple[NDArray[np.int64], int, float]:
    """Return the number in its bar of each beat, beats a bar, and how clear that is, -1 to 1.

    Parameters
    ----------
    firsts : ndarray, shape (n,)
        Activation of bars' first beats, by frame.
    per_bar : sequence of int
        Beats a bar that may be.
    """
    near = np.round(beats).astype(int)[:, None] + np.arange(-2, 3)
    chance = np.clip(firsts[np.clip(near, 0, len(firsts) - 1)].max(axis=1).astype(np.float64), 0.02, 0.98)
    best: tuple[float, NDArray[np.int64], int] | None = None
    for count in per_bar:
        # Against the mean, or where no first is heard bars of seven would cost least.
        score, path = _phases(
            np.log(chance / chance.mean()), np.log((1 - chance) / (1 - chance.mean())), count
        )
        score += BARS.get(count, -4.0) if len(per_bar) > 1 else 0.0
        if best is None or score > best[0]:
            best = score, path, count
    if best is None:
        raise ValueError("per_bar must name at least one number of beats")
    first = best[1] == 1
    margin = (
        float(np.mean(chance[first]) - np.mean(chance[~first])) if first.any() and not first.all() else 0.0
    )
    return best[1], best[2], margin


def _phases(on: NDArray[np.float64], off: NDArray[np.float64], count: int) -> tuple[float, NDArray[np.int64]]:
    """Return the score of the likeliest numbering of beats, 1 to ``count``, and that."""
    score = np.where(np.arange(count) == 0, on[0] + STARTS, off[0])
    back = np.zeros((len(on), count), np.int64)
    for at in range(1, len(on)):
        before = np.roll(np.arange(count), 1)
        leap = int(score.argmax())
        leaps = score[leap] - OTHER_PHASE > score[before]
        back[at] = np.where(leaps, leap, before)
        score = np.where(leaps, score[leap] - OTHER_PHASE, score[before])
        score = score + np.where(np.arange(count) == 0, on[at], off[at])
    path = np.empty(len(on), np.int64)
    path[-1] = int(score.argmax())
    for at in range(len(on) - 1, 0, -1):
        path[at - 1] = back[at, path[at]]
    return float(score.max()), path + 1
