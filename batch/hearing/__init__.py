"""From sound to notes: what a listener would count, each with pitch, loudness and confidence.

``features`` turns samples into frames, ``onsets`` reads attacks and silence off them,
``decode`` finds every span that might be a note, ``boundaries``, ``belonging`` and ``pitches``
decide what it was, ``moments`` when it starts and ends, ``chunks`` lets a take be longer than
memory. ``contour`` follows the pitch more finely than by semitones, ``scene`` says what sounds where
no note does. ``together`` weighs which pitches start at one of the ``attacks``: ``strums`` makes a
chord one note, ``texture`` says how much of the take is a line. ``training`` makes the networks
(``*.json``) those decisions rest on.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from batch.hearing.bystanders import without_bystanders
from batch.hearing.chunks import joined, overlapping, resampled
from batch.hearing.line import heard_in
from batch.hearing.params import DEFAULTS, HearingParams
from batch.hearing.scene import Scene, joined_scenes
from batch.hearing.texture import Struck, texture_of
from batch.model import Note, Texture

__all__ = ["Heard", "HearingParams", "hear", "hear_notes"]


@dataclass(frozen=True, slots=True)
class Heard:
    """The notes of a take, by onset, no two at once; what sounded at all; how much of it is a line.

    A MIDI take has no ``scene``; ``texture`` is None where it can't be said.
    """

    notes: tuple[Note, ...]
    scene: Scene | None
    texture: Texture | None


def hear(
    blocks: Callable[[], Iterable[np.ndarray]], sample_rate_hz: int, params: HearingParams = DEFAULTS
) -> Heard:
    """Return what is heard of a take.

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
    struck: list[Struck] = []
    for first, samples in overlapping(resampled(blocks(), sample_rate_hz, rate), length, overlap):
        heard, again_s = heard_in(samples, first / rate, params), (first + overlap) / rate
        notes = joined(notes, heard.notes, first / rate, again_s) if first else heard.notes
        middle_s = (first + overlap / 2) / rate if first else 0.0
        if scenes:
            scenes[-1] = scenes[-1].between(-np.inf, middle_s)
        scenes.append(heard.scene.between(middle_s, np.inf))
        if heard.struck is not None:
            struck.append(heard.struck.since(again_s) if first else heard.struck)
    return Heard(without_bystanders(notes), joined_scenes(scenes), texture_of(struck))


def hear_notes(
    blocks: Callable[[], Iterable[np.ndarray]], sample_rate_hz: int, params: HearingParams = DEFAULTS
) -> tuple[Note, ...]:
    """Return only the notes of a take (see ``hear``)."""
    return hear(blocks, sample_rate_hz, params).notes
