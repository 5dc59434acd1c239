"""A take in which a player does one thing after another."""

import math

import numpy as np
import pytest
from devices import AGAINST_GROOVE, IN_GROOVE, Line, grouped, perform, playable
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


def test_a_pattern_whose_rests_part_its_phrases_is_heard_across_them():
    # Three eighths and a rest of two, six times at 60: each three are a phrase of their own.
    rng = np.random.default_rng(8)
    notes = perform(Line(grouped(0.5, [1, 1, 1, 0, 0], 6), against=True), 60, rng, start_beats=4)
    phrases = [
        Phrase(notes[at].onset_s, notes[at + 2].offset_s, at, at + 2) for at in range(0, len(notes), 3)
    ]
    grid = grid_at(60, beats=40)
    feel = estimate_feel(np.array([note.onset_s for note in notes]), grid)
    together = rubs(notes, phrases, grid, feel)
    assert all(rub.groupings[0].name == "fives over eighths" for rub in together)
    assert all((rub.groupings[0].first, rub.groupings[0].last) == (0, 2) for rub in together)
    # Two of them with a bar between tell nothing.
    alone = rubs(notes, [phrases[0], phrases[4]], grid, feel)
    assert all(not rub.groupings for rub in alone)


def test_phrases_on_the_beat_one_after_another_are_no_pattern():
    # A bar of four eighths and a half rest: what repeats is the bar.
    rng = np.random.default_rng(9)
    notes = perform(Line(grouped(0.5, [1, 1, 1, 1, 1, 0, 0, 0], 4), against=False), 100, rng, start_beats=4)
    phrases = [
        Phrase(notes[at].onset_s, notes[at + 4].offset_s, at, at + 4) for at in range(0, len(notes), 5)
    ]
    grid = grid_at(100, beats=40)
    feel = estimate_feel(np.array([note.onset_s for note in notes]), grid)
    assert all(not rub.groupings for rub in rubs(notes, phrases, grid, feel))
