"""The best sequence of notes and gaps under the frames: one dynamic program.

A Viterbi search (Forney 1973, "The Viterbi algorithm", Proc. IEEE 61(3)) over one state a
semitone and one for silence, compiled because it steps through every frame.
"""

import numpy as np
from numpy.typing import NDArray

from batch.hearing.compiling import compiled, one_at_a_time

STAY = -2  # back pointer: the state goes on
GAP = -1  # back pointer or state: silence


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
    came = np.empty((frames, pitches), np.int16)
    gap_came = np.empty(frames, np.int16)
    score = np.full(pitches, -1e9)
    last = _search(reward, onset, silence, new_cost, again_cost, score, came, gap_came)
    state = np.empty(frames, np.int16)
    starts = np.zeros(frames, np.bool_)
    _trace(last, came, gap_came, state, starts)
    return state, starts


# What is compiled below is given its arrays and only steps through them: numpy's own functions,
# called from compiled code, would take three times as long to compile.


@compiled
def _search(  # type: ignore[no-untyped-def]  # noqa: PLR0917
    reward, onset, silence, new_cost, again_cost, score, came, gap_came
):
    """Step through the frames: fill the back pointers, return the best last state.

    ``score`` (pitches,) holds each semitone's best score so far; ``came`` (n, pitches) and
    ``gap_came`` (n,) where each state was entered from.
    """
    gap_score = 0.0
    pitches = len(score)
    for t in range(len(onset)):
        best = 0
        second = 0
        for k in range(1, pitches):
            if score[k] > score[best]:
                second = best
                best = k
            elif second == best or score[k] > score[second]:
                second = k
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
    last = GAP
    for k in range(pitches):
        if score[k] > gap_score:
            gap_score = score[k]
            last = k
    return last


@compiled
def _trace(last, came, gap_came, state, starts):  # type: ignore[no-untyped-def]
    """Follow the back pointers from the best last state; fill ``state`` (n,) and ``starts`` (n,)."""
    now = last
    for t in range(len(state) - 1, -1, -1):
        state[t] = now
        if now == GAP:
            now = gap_came[t]
        elif came[t, now] != STAY:
            starts[t] = True
            now = came[t, now]


def compile_search() -> None:
    """Compile, or load what another process has compiled."""
    with one_at_a_time(_search):
        nothing = np.zeros(1, np.float32)
        decode(nothing[:, None], nothing, nothing, 0.0, 0.0)
