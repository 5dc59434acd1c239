from dataclasses import replace

import mir_eval
import numpy as np
import pytest

from batch.beats.alone.fit import RIGHT_F, SURE, TRIMMED_S, WANTED, Trial, beat_f, fit_sureness
from batch.beats.alone.fit_material import as_heard, examples, stretched
from batch.beats.alone.judge import NO_BEAT, PLACES
from batch.beats.alone.lines import practice_line
from batch.beats.alone.view import COLUMNS


@pytest.mark.parametrize("seed", range(5))
def test_beat_f_is_that_of_mir_eval(seed):
    rng = np.random.default_rng(seed)
    true_s = np.cumsum(rng.uniform(0.3, 0.6, 60))
    found_s = np.sort((true_s + rng.normal(0, 0.05, 60))[rng.random(60) < 0.8])
    trim = mir_eval.beat.trim_beats
    expected = mir_eval.beat.f_measure(trim(true_s), trim(found_s))
    assert beat_f(true_s, found_s) == pytest.approx(expected)
    assert TRIMMED_S == 5.0


@pytest.mark.parametrize("seed", range(6))
def test_practice_lines_are_played_near_simple_fractions_of_their_beats(seed):
    line = practice_line(np.random.default_rng(seed))
    at = np.interp(line.onset_s, line.beats_s, np.arange(len(line.beats_s)))
    away = np.min([np.abs(at * n - np.round(at * n)) / n for n in (3, 4, 5, 7)], axis=0)
    assert np.median(away) * np.median(np.diff(line.beats_s)) < 0.04
    assert (np.diff(line.onset_s) >= 0).all()
    assert (line.length_s > 0).all()


def test_answers_share_a_place_and_wrong_periods_are_no_beat():
    rng = np.random.default_rng(3)
    seen, answers = examples(stretched(as_heard(practice_line(rng), rng), rng), rng)
    assert seen.shape == (len(answers), COLUMNS)
    assert answers.shape[1] == PLACES + 1
    assert answers.sum(axis=1) == pytest.approx(1.0, abs=1e-5)
    assert 0.3 < answers[:, NO_BEAT].mean() < 0.8  # two wrong periods to a right one, some out of range


def test_nothing_heard_is_survived():
    line = practice_line(np.random.default_rng(1))
    nothing = replace(line, onset_s=np.empty(0), length_s=np.empty(0), pitch_midi=np.empty(0))
    assert len(as_heard(nothing, np.random.default_rng(2)).onset_s) == 0


def test_confidence_keeps_its_word_on_trials_with_chance_in_them():
    rng = np.random.default_rng(4)
    told = rng.normal(0, 2, 4000)
    right = rng.random(4000) < 1 / (1 + np.exp(-2 * told))
    trials = [
        Trial(i, i % 4, "", "", 60.0, 120.0, {"tells": float(x)}, RIGHT_F if ok else 0.5)
        for i, (x, ok) in enumerate(zip(told, right, strict=True))
    ]
    fitted = fit_sureness(trials[:2000])
    sure = np.array([fitted.confidence(t.row) >= SURE for t in trials[2000:]])
    assert right[2000:][sure].mean() > WANTED - 0.03  # three standard errors of some 900 trials
    assert sure.mean() > 0.2
