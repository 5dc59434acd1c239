"""The benchmark's own arithmetic: a score that is wrong would praise anything."""

import json
import sys

import numpy as np
import pytest
from benchmark.cases.case import by_ghosts, by_notes, by_pieces, octave_errors
from benchmark.making.lines import invented, steady
from benchmark.making.takes import Store, leveled
from benchmark.making.tones import REED, line_of
from benchmark.scores import mean_scores, note_match, onset_match, scores_of
from benchmark.segmentation import segmented
from benchmark.tables import Table
from benchmark.whole import cost_of

LINE = steady([60, 64, 67, 72, 60], 0.3, 0.25)
FRAME_S = 0.01


def test_a_perfect_listener_scores_1_and_a_deaf_one_0():
    perfect = scores_of(LINE, LINE[:, 0], LINE)
    deaf = scores_of(LINE, np.empty(0), np.empty((0, 3)))
    assert (perfect.on50, perfect.on25, perfect.note, perfect.full) == (1, 1, 1, 1)
    assert (deaf.on50, deaf.on25, deaf.note, deaf.full) == (0, 0, 0, 0)


@pytest.mark.parametrize(
    ("late_s", "sharp", "held_s", "expected"),
    [
        (0.03, 0.0, 0.0, (1, 0, 1, 1)),  # outside 25 ms, inside 50
        (0.06, 0.0, 0.0, (0, 0, 0, 0)),
        (0.0, 0.6, 0.0, (1, 1, 0, 0)),  # 60 cents
        (0.0, 0.0, 0.06, (1, 1, 1, 0)),  # over 50 ms, which is more than 20 % of 250 ms
    ],
)
def test_each_score_measures_its_own_mistake(late_s, sharp, held_s, expected):
    found = LINE + np.array([late_s, late_s + held_s, sharp])
    scores = scores_of(LINE, found[:, 0], found)
    assert (scores.on50, scores.on25, scores.note, scores.full) == expected


def test_precision_and_recall_of_half_the_notes_and_as_many_wrong_ones():
    # By hand: 2 of 4 heard are played, 2 of 5 played are heard; F = 4 / 9.
    found = np.concatenate([LINE[:2], LINE[2:4] + np.array([0.0, 0.0, 5.0])])
    match = note_match(LINE, found)
    assert (match.precision, match.recall, match.f) == pytest.approx((0.5, 0.4, 4 / 9))


def test_hearing_nothing_is_right_where_nothing_is_played():
    assert onset_match(np.empty(0), np.empty(0), 0.05).f == 1.0
    assert onset_match(np.empty(0), np.array([1.0]), 0.05).f == 0.0


def test_who_hears_only_onsets_has_no_note_score():
    scores = mean_scores([scores_of(LINE, LINE[:, 0], None), scores_of(LINE, np.empty(0), None)])
    assert (scores.on50, scores.note) == (0.5, None)


def test_octave_errors_are_told_from_other_wrong_pitches():
    found = LINE + np.array([[0, 0, 12], [0, 0, -24], [0, 0, 7], [0, 0, 0], [0, 0, 0.3]])
    assert octave_errors(LINE, found) == 2
    assert by_notes([(LINE, found)]).figure == 2.0


def test_a_held_note_heard_as_three_is_three_pieces():
    held = steady([60], 2.0, 1.5)
    found = np.array([[0.4, 0.8, 60.0], [0.8, 1.2, 61.0], [1.2, 1.9, 60.0]])
    verdict = by_pieces([(held, found)])
    assert (verdict.match.recall, verdict.match.precision, verdict.figure) == pytest.approx((1.0, 1 / 3, 3.0))


def test_ghosts_are_the_first_of_every_four_notes():
    line = steady([60, 62, 64, 65, 67, 69, 71, 72], 0.3, 0.25)
    without = np.delete(line, [0], axis=0)
    assert by_ghosts([(line, without)]).figure == 0.5  # of notes 0 and 4


def test_a_track_of_pitches_is_cut_at_steps_gaps_and_onsets():
    track = np.concatenate([np.full(30, 60.1), np.full(30, 62.0), np.full(10, np.nan), np.full(40, 62.0)])
    notes = segmented(track, np.array([0.9]), FRAME_S)
    assert notes[:, 0] == pytest.approx([0.0, 0.3, 0.7, 0.9], abs=2 * FRAME_S)
    assert notes[:, 2] == pytest.approx([60.1, 62.0, 62.0, 62.0])


def test_vibrato_of_30_cents_does_not_cut_a_track():
    track = 60.0 + 0.3 * np.sin(2 * np.pi * 5.5 * FRAME_S * np.arange(100))
    assert len(segmented(track, np.empty(0), FRAME_S)) == 1


@pytest.mark.parametrize("seed", range(4))
def test_an_invented_line_fits_its_time_and_no_two_notes_overlap(seed):
    line = invented(np.random.default_rng(seed), 12.0, 62)
    assert line[0, 0] > 0.2
    assert line[-1, 1] < 12.0
    assert np.all(line[1:, 0] > line[:-1, 1])
    assert np.all(line[:, 1] > line[:, 0])
    assert np.all(np.abs(line[:, 2] - 62) <= 16)


def test_a_tone_sounds_from_its_onset_to_its_offset():
    line = steady([57.0], 1.0, 0.5, start_s=0.5)
    sound = line_of(line, REED)
    loud = np.flatnonzero(np.abs(sound) > 0.1 * np.abs(sound).max()) / 22_050
    assert (loud[0], loud[-1]) == pytest.approx((0.5, 1.0), abs=0.04)


def test_a_take_is_made_once(tmp_path):
    made = []

    def make():
        made.append(1)
        return leveled(np.arange(3.0)), LINE

    store = Store(tmp_path)
    first, second = store.kept("a take", make), store.kept("a take", make)
    assert len(made) == 1
    assert first[0] == pytest.approx(second[0])
    assert second[1] == pytest.approx(LINE)


def test_a_command_is_timed_and_its_failure_told():
    cost = cost_of([sys.executable, "-c", "sum(range(3_000_000))"])
    assert 0.0 < cost.cpu_s < 60.0
    assert 1.0 < cost.peak_mib < 60.0  # a bare interpreter's, not this process's own
    with pytest.raises(RuntimeError, match="ended with 3:\nno such luck"):
        cost_of([sys.executable, "-c", "print('no such luck'); raise SystemExit(3)"])


def test_a_table_is_read_by_people_and_programs():
    table = Table("t", ("name", "ear: on50", "ear: note"), (("guitar", 0.5, None),), ("a remark",))
    assert table.text().splitlines()[2:5] == [
        "          ear",
        "name     on50  note",
        "guitar  0.500     -",
    ]
    assert json.loads(table.json_line())["rows"] == [{"name": "guitar", "ear: on50": 0.5, "ear: note": None}]


def test_a_row_too_short_is_refused():
    with pytest.raises(ValueError, match="2 cells under 3 columns"):
        Table("t", ("a", "b", "c"), ((1, 2),))
