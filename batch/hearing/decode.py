"""The best sequence of notes and gaps under the frames: one dynamic program.

A Viterbi search (Forney 1973, "The Viterbi algorithm", Proc. IEEE 61(3)) over one state a
semitone and one for silence, compiled because it steps through every frame.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

STAY = -2  # back pointer: the state goes on
GAP = -1  # back pointer or state: silence


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Return ``function`` compiled, kept on disk where a folder for that can be written."""
    try:
        return njit(cache=True)(function)
    except RuntimeError:  # numba finds no folder to write to
        return njit(function)


def decode(
    reward: NDArray[np.float32],
    onset: NDArray[np.float32],
    silence: NDArray[np.float32],
    new_cost: float,
    again_cost: float,
) -> tuple[NDArray[np.int16], NDArray[np.bool_]]:
    """Return each frame's state (semitone index or GAP) and whether a note starts there.

    Parameters
    ----------
    reward : ndarray, shape (n, pitches), float32
        What a frame adds when it belongs to a note at that pitch.
    onset : ndarray, shape (n,), float32
        What starting a note at this frame adds.
    silence : ndarray, shape (n,), float32
        What a frame of silence adds.
    new_cost, again_cost : float
        Cost of a note at another pitch or after silence; of a new note at the same pitch.
    """
    frames, pitches = reward.shape
    score = np.full(pitches, -1e9)
    gap_score = 0.0
    came = np.empty((frames, pitches), np.int16)
    gap_came = np.empty(frames, np.int16)
    for t in range(frames):
        best, second = _two_best(score)
        after_gap = gap_score - new_cost + onset[t]
        top = score[best]
        runner_up = score[second]
        for k in range(pitches):
            entry = after_gap
            entry_from = GAP
            other = second if k == best else best
            change = (runner_up if k == best else top) - new_cost + onset[t]
            if pitches > 1 and change > entry:
                entry = change
                entry_from = other
            again = score[k] - again_cost + onset[t]
            if again > entry:
                entry = again
                entry_from = k
            came[t, k] = STAY
            if entry > score[k]:
                score[k] = entry
                came[t, k] = entry_from
            score[k] += reward[t, k]
        gap_came[t] = GAP
        if top > gap_score:
            gap_score = top
            gap_came[t] = best
        gap_score += silence[t]
    return _traced(score, gap_score, came, gap_came)


def _two_best(score: NDArray[np.float64]) -> tuple[int, int]:
    """Return where the highest and the second highest score are; both 0 when there is only one."""
    best = 0
    second = 0
    for k in range(1, len(score)):
        if score[k] > score[best]:
            second = best
            best = k
        elif second == best or score[k] > score[second]:
            second = k
    return best, second


def _traced(
    score: NDArray[np.float64], gap_score: float, came: NDArray[np.int16], gap_came: NDArray[np.int16]
) -> tuple[NDArray[np.int16], NDArray[np.bool_]]:
    """Follow the back pointers from the best last state."""
    frames = len(gap_came)
    state = np.full(frames, GAP, np.int16)
    starts = np.zeros(frames, np.bool_)
    best = int(np.argmax(score))
    now = best if score[best] > gap_score else GAP
    for t in range(frames - 1, -1, -1):
        state[t] = now
        if now == GAP:
            now = gap_came[t]
        elif came[t, now] != STAY:
            starts[t] = True
            now = came[t, now]
    return state, starts


_two_best = compiled(_two_best)
_traced = compiled(_traced)
decode = compiled(decode)
