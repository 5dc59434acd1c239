"""Syncopation against worked values, and devices that players practise."""

import numpy as np
import pytest
from devices import perform, swinging
from performing import grid_at, one_phrase, play, rub_of

from batch.groove import rubs
from batch.groove.off_grid import off_grid
from batch.groove.syncopation import syncopations
from batch.labels import label_phrases
from batch.model import Groove
from batch.rhythm import Feel, estimate_feel, place, strengths, subdivisions
from batch.settings import GrooveSettings, LabelSettings

TEMPOS = [66, 92, 120, 160, 208]


def repeated_bar(pattern: str, bars: int = 2) -> np.ndarray:
    """Return the positions in beats of a pattern of sixteenths, repeated."""
    struck = [i / 4 for i, mark in enumerate(pattern) if mark == "1"]
    return np.array([4 * bar + position for bar in range(bars) for position in struck])


# Worked by hand with the weights of Longuet-Higgins & Lee (1984), Music Perception 1(4): one bar
# of sixteenths repeated; for each note the strongest silent position before the next one.
@pytest.mark.parametrize(
    ("name", "pattern", "expected"),
    [
        ("son", "1001001000101000", 4),
        ("shiko", "1000101000101000", 2),
        ("gahu", "1001001000100010", 5),
        ("every off-beat eighth", "0010001000100010", 7),
        ("every eighth", "1010101010101010", 0),
        ("every beat", "1000100010001000", 0),
    ],
)
def test_syncopation_equals_the_worked_values(name, pattern, expected):
    position = repeated_bar(pattern, bars=3)
    first_bar = syncopations(position, grid_at(120))[: pattern.count("1")]
    assert first_bar.sum() == expected, name


def test_strengths_are_the_published_weights_of_four_four():
    sixteenths = np.arange(16) / 4
    # bar 0, half bar -1, beat -2, eighth -3, sixteenth -4 (Longuet-Higgins & Lee 1984)
    expected = [0, -4, -3, -4, -2, -4, -3, -4, -1, -4, -3, -4, -2, -4, -3, -4]
    assert strengths(sixteenths, grid_at(120)).tolist() == expected


def test_strengths_of_three_four_have_no_half_bar():
    assert strengths(np.arange(3.0), grid_at(120, meter=(3, 4))).tolist() == [0, -2, -2]


def test_strengths_of_six_eight_divide_the_beat_in_three():
    eighths = np.arange(6) / 3
    assert strengths(eighths, grid_at(120, meter=(6, 8))).tolist() == [0, -3, -3, -2, -3, -3]


def test_a_line_without_notes_has_no_syncopation():
    assert syncopations(np.zeros(0), grid_at(120)).tolist() == []


@pytest.mark.parametrize("swing", [1.0, 1.5, 2.0, 2.5])
def test_a_swung_off_beat_stands_on_the_off_beat(swing):
    late = swing / (1 + swing)
    beats = [beat + part for beat in range(16) for part in (0.0, late)]
    grid = grid_at(132)
    notes = play(beats, 132, human_s=0.006)
    onsets = np.array([note.onset_s for note in notes])
    feel = estimate_feel(onsets, grid)
    assert feel.swing_ratio == pytest.approx(swing, abs=0.2)
    assert place(onsets, grid, feel).tolist() == [beat + part for beat in range(16) for part in (0.0, 0.5)]


@pytest.mark.parametrize("lag_s", [-0.02, 0.0, 0.02, 0.04])
def test_a_constant_lag_is_found_and_taken_out(lag_s):
    beats = list(np.arange(0.5, 32, 0.5))
    grid = grid_at(120)
    notes = play(beats, 120, lag_s=lag_s, human_s=0.004)
    rub, feel = rub_of(notes, grid)
    assert feel.lag_s == pytest.approx(lag_s, abs=0.008)
    assert rub.off_grid < 0.06


def test_off_grid_is_a_quarter_by_chance_and_nothing_on_the_grid():
    # Arithmetic: the mean distance of a uniform onset from the nearer end of its tatum is 1/4.
    eighths = subdivisions(grid_at(120), Feel(None, 0.0))[1:2]
    by_chance = np.random.default_rng(3).uniform(0, 64, 20_000)
    assert off_grid(by_chance, 0.5, eighths) == pytest.approx(0.25, abs=0.005)
    assert off_grid(np.arange(0, 8, 0.5), 0.5, eighths) == pytest.approx(0, abs=1e-9)


def groove_of(notes, grid) -> Groove:
    phrase = one_phrase(notes)
    feel = estimate_feel(np.array([note.onset_s for note in notes]), grid)
    measured = rubs(notes, [phrase], grid, feel)
    ((labels, _),) = label_phrases(
        notes, [phrase], grid, measured, labels=LabelSettings(), groove=GrooveSettings()
    )
    return labels.groove


def eighths_with(part: float) -> list[float]:
    return [beat + offset for beat in range(8) for offset in (0.0, part)]


# In the groove by common practice, no source.
IN_GROOVE = {
    "quarters": list(range(8)),
    "halves": list(range(0, 16, 2)),
    "straight eighths": eighths_with(0.5),
    "swung eighths": eighths_with(2 / 3),
    "triplet eighths": [beat / 3 for beat in range(24)],
    "sixteenths": [beat / 4 for beat in range(32)],
    "a lone anticipation": [0, 1, 2, 3, 3.5, 5, 6, 7, 8],
    "eighths that end off the beat": [0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5],
}

# Against the groove by common practice, no source.
AGAINST_GROOVE = {
    "off-beat eighths for two bars": [beat + 0.5 for beat in range(8)],
    "a chain of dotted quarters": [1.5 * i for i in range(9)],
    "a chain of dotted eighths": [0.75 * i for i in range(17)],
}


@pytest.mark.parametrize("tempo_bpm", TEMPOS)
@pytest.mark.parametrize("name", IN_GROOVE)
def test_phrases_that_state_the_meter_are_in_the_groove(name, tempo_bpm):
    notes = play(IN_GROOVE[name], tempo_bpm, human_s=0.008)
    assert groove_of(notes, grid_at(tempo_bpm)) is Groove.IN_GROOVE


@pytest.mark.parametrize("tempo_bpm", TEMPOS)
@pytest.mark.parametrize("name", AGAINST_GROOVE)
def test_phrases_that_displace_the_meter_are_against_it(name, tempo_bpm):
    notes = play(AGAINST_GROOVE[name], tempo_bpm, human_s=0.008)
    assert groove_of(notes, grid_at(tempo_bpm)) is Groove.AGAINST_GROOVE


@pytest.mark.parametrize("lag_s", [0.01, 0.025, 0.04])
def test_laying_back_evenly_is_feel_and_not_conflict(lag_s):
    notes = play(eighths_with(0.6), 120, lag_s=lag_s, human_s=0.006)
    assert groove_of(notes, grid_at(120)) is Groove.IN_GROOVE


@pytest.mark.parametrize("tempo_bpm", [80, 120, 180, 240])
@pytest.mark.parametrize("swing", [1.0, 1.25, 1.5, 2.0, 2.5, 3.0])
def test_swing_is_found_within_a_fifth_in_human_playing(swing, tempo_bpm):
    # An eighth of error is 8 ms of 250 at 120: human timing of 6-12 ms allows no more.
    off = []
    for seed in range(4):
        rng = np.random.default_rng([seed, tempo_bpm])
        notes = perform(swinging(swing, 64, rng), tempo_bpm, rng, human_s=rng.uniform(0.006, 0.012))
        feel = estimate_feel(np.array([note.onset_s for note in notes]), grid_at(tempo_bpm))
        off.append(feel.swing_ratio - swing)
    assert abs(np.mean(off)) < 0.2
