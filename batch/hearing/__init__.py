"""From sound to notes: what a listener would count, each with pitch, loudness and confidence.

``features`` turns samples into frames, ``onsets`` reads attacks and silence off them,
``decode`` finds every span that might be a note, ``boundaries``, ``belonging`` and ``pitches``
decide what it was, ``moments`` when it starts and ends, ``chunks`` lets a take be longer than
memory. ``contour`` follows the pitch more finely than by semitones, ``scene`` says what sounds where
no note does. ``fit`` makes the networks
(``*.json``) those decisions rest on, from what ``material`` plays, sings and says.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from batch.hearing.bystanders import without_bystanders
from batch.hearing.chunks import joined, overlapping, resampled
from batch.hearing.line import notes_in
from batch.hearing.params import DEFAULTS, HearingParams
from batch.hearing.scene import Scene, joined_scenes
from batch.model import Note

__all__ = ["Heard", "HearingParams", "hear", "hear_notes"]


@dataclass(frozen=True, slots=True)
class Heard:
    """The notes of a take, by onset, no two at once, and what sounded at all."""

    notes: tuple[Note, ...]
    scene: Scene


def hear(
    blocks: Callable[[], Iterable[np.ndarray]], sample_rate_hz: int, params: HearingParams = DEFAULTS
) -> Heard:
    """Return the notes of a take and the scene they lie in.

    Parameters
    ----------
    blocks : callable
        Starts a pass over the take: float32 arrays (n,), mono, -1..1, of any length.
    sample_rate_hz : int
        Samples a second.

    Returns
    -------
    Heard
        ``loudness_db`` of its notes is the RMS level of the note's body in dB below full scale.
    """
    rate = params.rate_hz
    length = int(params.chunk_s * rate) // params.hop * params.hop
    overlap = int(params.overlap_s * rate) // params.hop * params.hop
    notes: list[Note] = []
    scenes: list[Scene] = []
    for first, samples in overlapping(resampled(blocks(), sample_rate_hz, rate), length, overlap):
        heard, scene = notes_in(samples, first / rate, params)
        notes = joined(notes, heard, first / rate, (first + overlap) / rate) if first else heard
        middle_s = (first + overlap / 2) / rate if first else 0.0
        if scenes:
            scenes[-1] = scenes[-1].between(-np.inf, middle_s)
        scenes.append(scene.between(middle_s, np.inf))
    return Heard(without_bystanders(notes), joined_scenes(scenes))


def hear_notes(
    blocks: Callable[[], Iterable[np.ndarray]], sample_rate_hz: int, params: HearingParams = DEFAULTS
) -> tuple[Note, ...]:
    """Return only the notes of ``hear``."""
    return hear(blocks, sample_rate_hz, params).notes
