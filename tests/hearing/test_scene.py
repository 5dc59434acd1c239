"""What sounds besides notes: talking told from playing, strokes and how long they ring."""

import numpy as np
import pytest
from played import RATE, blown, driven, hear_all, line, melody, plucked

from batch.hearing.training.noise import mixed, pink
from batch.hearing.training.speech import speech
from batch.hearing.training.synthesis import SUNG, synthesised
from batch.ticking import ticks_in

TALKING = 1.4  # batch.talking's own line; here the share of rows beyond it is asked
CHUNK_S = 72.0


def talking_share(samples) -> float:
    """Return the share of sounding rows in which somebody is said to talk."""
    scene = hear_all(samples).scene
    sounds = scene.audible > 0.25
    return float((scene.talking[sounds] > TALKING).mean())


def sung(seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    notes = np.array(melody(seed, 40, shortest_s=0.25))
    return synthesised(rng, notes, SUNG, int((notes[-1, 1] + 1.0) * RATE))[0]


def test_most_talking_over_noise_is_talking():
    shares = []
    for seed in (904, 905, 906):  # beyond those that fit_scene uses
        rng = np.random.default_rng(seed)
        said = speech(rng, 10 * RATE)
        shares.append(talking_share(mixed(said, pink(rng, len(said)), -25.0)))
    assert np.median(shares) > 0.4


@pytest.mark.parametrize("tone", [plucked, blown, driven])
def test_a_line_is_no_talking(tone):
    assert talking_share(line(melody(3), tone)) < 0.02


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_singing_with_vibrato_glides_and_consonants_is_no_talking(seed):
    assert talking_share(sung(seed)) < 0.1


def test_strokes_are_timed_and_ring_as_long_as_they_were_made_to():
    # A burst of noise that falls 20 dB in exactly 60 ms: 10 ** (-t / 0.06) in amplitude.
    t = np.arange(int(0.3 * RATE)) / RATE
    burst = np.random.default_rng(1).standard_normal(len(t)) * 10.0 ** (-t / 0.06)
    sound = 1e-5 * np.random.default_rng(2).standard_normal(6 * RATE)
    times_s = np.arange(8) * 0.6 + 0.5
    for time_s in times_s:
        first = round(time_s * RATE)
        sound[first : first + len(burst)] += 0.1 * burst
    (run,) = ticks_in(hear_all(sound).scene, [])
    np.testing.assert_allclose(run.times_s, times_s, atol=0.012)
    assert run.ring_s == pytest.approx(0.06, abs=0.025)


def test_rows_cover_a_take_once_whatever_the_chunks():
    played = line(melody(5, 500), plucked)
    assert len(played) > 1.5 * CHUNK_S * RATE
    scene = hear_all(played).scene
    steps = np.diff(scene.start_s)
    assert (steps > 0).all()
    assert np.median(steps) == pytest.approx(16 * 128 / RATE)
    assert steps.max() < 2.5 * np.median(steps)  # where chunks join, a row may be missing
    assert scene.start_s[-1] == pytest.approx(len(played) / RATE, abs=0.2)
    assert (np.diff(scene.struck_s) > 0).all()


def test_digital_silence_has_rows_in_which_nothing_sounds():
    scene = hear_all(np.zeros(5 * RATE)).scene
    assert len(scene.start_s) == pytest.approx(5 / (16 * 128 / RATE), abs=1.0)
    assert not scene.audible.any()
    assert not len(scene.struck_s)
