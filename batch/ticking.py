"""Runs of ticks: a count-in on sticks, a metronome. Alike, over at once, and even.

Not the bleeding click behind a line, which the hearing leaves out: here the ticks are alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from batch.hearing.scene import Scene
from batch.model import Note

RINGS_S = 0.14  # s until a tick has fallen by 20 dB, such as a closed hi-hat's (rendered sounds)
PITCHED_S = 0.125  # s the same for ticks that have a pitch: a staccato note rings longer (rendered sounds)
PITCHED_LEAST, PITCHED_APART_S = 4, 0.3  # ticks, and s between, where they have: not a few muted notes
LEAST = 3  # ticks: two strokes are anything
APART_S = (0.2, 1.6)  # s between ticks: 300 to 38 a minute
UNEVEN_S = 0.03  # s off the run's distance; people with sticks keep within it (6 to 12 ms when tapping)
ALIKE_DB = 9.0  # louder or softer than the tick before: an accent
QUIET_DB = 25.0  # under the loudest stroke of a take: not a stroke of its own
SAME_S = 0.05  # s: strokes this soon after one are its end, notes this near are it
PITCHES = 2  # of ticks that have any: one, and one for the accent
PITCH_STEP = 0.5  # semitones within which the pitch of a tick is the same


@dataclass(frozen=True, slots=True)
class Ticks:
    """A run of even ticks, ``apart_s`` from one to the next, over after ``ring_s`` (medians)."""

    times_s: tuple[float, ...]
    apart_s: float
    ring_s: float

    @property
    def start_s(self) -> float:
        """When the first sounds."""
        return self.times_s[0]

    @property
    def end_s(self) -> float:
        """When the last is over."""
        return self.times_s[-1] + self.ring_s

    def struck(self, onset_s: float) -> bool:
        """Return whether a note that starts at ``onset_s`` is one of the ticks."""
        return any(-SAME_S <= onset_s - time_s <= SAME_S + self.ring_s for time_s in self.times_s)


def ticks_in(scene: Scene, notes: Sequence[Note]) -> list[Ticks]:
    """Return the runs of ticks in ``scene`` that were not played as a melody among ``notes``."""
    times_s, ring_s, level_db = _strokes(scene)
    runs: list[list[int]] = [[]]
    for at in range(len(times_s)):
        if ring_s[at] > RINGS_S:
            runs.append([])
            continue
        if runs[-1] and not _follows(times_s, level_db, [*runs[-1], at]):
            runs.append([runs[-1][-1]] if _follows(times_s, level_db, [runs[-1][-1], at]) else [])
        runs[-1].append(at)
    found = [_ticks(times_s[run], ring_s[run]) for run in runs if len(run) >= LEAST]
    return [run for run in found if _has_no_melody(run, notes)]


def _strokes(scene: Scene) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return when, how long and how loud the strokes are, each (n,): quiet ones and doubles left out."""
    loud = scene.struck_db > scene.struck_db.max(initial=-np.inf) - QUIET_DB
    times_s, ring_s, level_db = scene.struck_s[loud], scene.ring_s[loud], scene.struck_db[loud]
    rings_until_s = np.concatenate([[-np.inf], (times_s + np.minimum(ring_s, RINGS_S))[:-1]]) + SAME_S
    first = times_s > rings_until_s
    return times_s[first], ring_s[first], level_db[first]


def _follows(times_s: np.ndarray, level_db: np.ndarray, run: list[int]) -> bool:
    """Return whether the last of ``run`` (two or more) is alike and as far from the one before as all are."""
    apart = np.diff(times_s[run])
    even = np.abs(apart - np.median(apart)).max() <= UNEVEN_S
    alike = abs(level_db[run[-1]] - level_db[run[-2]]) <= ALIKE_DB
    return bool(even and alike and APART_S[0] <= apart[-1] <= APART_S[1])


def _ticks(times_s: np.ndarray, ring_s: np.ndarray) -> Ticks:
    return Ticks(tuple(times_s.tolist()), float(np.median(np.diff(times_s))), float(np.median(ring_s)))


def _has_no_melody(run: Ticks, notes: Sequence[Note]) -> bool:
    pitches = sorted(note.pitch_midi for note in notes if run.struck(note.onset_s))
    short = run.ring_s <= PITCHED_S
    if pitches and not (short and len(run.times_s) >= PITCHED_LEAST and run.apart_s >= PITCHED_APART_S):
        return False
    return int((np.diff(pitches, prepend=-np.inf) > PITCH_STEP).sum()) <= PITCHES
