"""A take in which a player does one thing after another."""

import math

import numpy as np
import pytest
from devices import AGAINST_GROOVE, IN_GROOVE, perform, playable
from performing import grid_at

from batch.groove import rubs
from batch.labels import label_phrases
from batch.model import Groove, Note, Phrase
from batch.rhythm import estimate_feel
from batch.settings import GrooveSettings, LabelSettings


@pytest.mark.parametrize("tempo_bpm", [60, 120, 176, 260])
def test_each_phrase_of_a_mixed_take_is_judged_on_its_own(tempo_bpm):
    # One phrase laid back among others on the beat, devices beside plain lines: common practice, no source.
    rng = np.random.default_rng(tempo_bpm)
    lines = [
        line
        for line in (IN_GROOVE | AGAINST_GROOVE).values()
        if line.meter == (4, 4) and line.swing == 1 and playable(line, tempo_bpm)
    ]
    notes: list[Note] = []
    phrases = []
    start = 4
    rng.shuffle(lines)
    for line in lines:
        played = perform(line, tempo_bpm, rng, start_beats=start)
        phrases.append(
            Phrase(played[0].onset_s, played[-1].offset_s, len(notes), len(notes) + len(played) - 1)
        )
        notes += played
        start = 4 * (math.ceil((start + line.onsets[-1]) / 4) + 2)
    grid = grid_at(tempo_bpm, beats=start)
    feel = estimate_feel(np.array([note.onset_s for note in notes]), grid)
    told = label_phrases(
        notes,
        phrases,
        grid,
        rubs(notes, phrases, grid, feel),
        labels=LabelSettings(),
        groove=GrooveSettings(),
    )
    right = [
        (words.groove is Groove.AGAINST_GROOVE) == line.against
        for (words, _), line in zip(told, lines, strict=True)
    ]
    assert np.mean(right) >= 0.95
