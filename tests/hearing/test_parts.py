"""The parts of hearing against arithmetic done another way."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from played import RATE, blown, hz, line, melody, plucked

from batch.hearing.belonging import belonging_evidence
from batch.hearing.boundaries import boundary_evidence, following, preceding
from batch.hearing.chunks import joined, overlapping, resampled
from batch.hearing.contour import contour_of, refined
from batch.hearing.decode import GAP, decode
from batch.hearing.features import band_of_hz, frames_of
from batch.hearing.line import candidate_spans, found_notes
from batch.hearing.moments import (
    RELEASE_REACH,
    TAIL,
    UNSURE,
    attack_evidence,
    attack_options,
    likeliest_release,
    owners,
    release_evidence,
)
from batch.hearing.network import Network, network
from batch.hearing.onsets import loudness_of
from batch.hearing.params import DEFAULTS
from batch.hearing.pitches import NONE, best_melody, candidates, pitch_evidence, views_of
from batch.hearing.spans import Spans, merged, spans_of
from batch.hearing.stretch import RunningSum
from batch.model import Note


def path_score(path, begins, reward, onset, silence, *, new_cost=1.5, again_cost=2.0):
    """What a path through the states is worth, straight from the definition."""
    total, before = 0.0, GAP
    for t, state in enumerate(path):
        if state == GAP:
            total += silence[t]
        else:
            total += reward[t, state]
            if begins[t]:
                total += onset[t] - (again_cost if before == state else new_cost)
        before = state
    return total


def every_path(frames, pitches):
    """Every sequence of states, with every choice of striking again at the same pitch."""
    for path in product([GAP, *range(pitches)], repeat=frames):
        must = [s != GAP and (t == 0 or path[t - 1] != s) for t, s in enumerate(path)]
        may = [s != GAP and not must[t] for t, s in enumerate(path)]
        for again in product([False, True], repeat=sum(may)):
            choice = iter(again)
            yield path, [m or (f and next(choice)) for m, f in zip(must, may, strict=True)]


@pytest.mark.parametrize("seed", range(12))
def test_decoding_finds_the_best_of_all_paths(seed):
    rng = np.random.default_rng(seed)
    reward = rng.normal(0, 1, (5, 2)).astype(np.float32)
    onset = (rng.random(5) * 3).astype(np.float32)
    silence = rng.normal(0, 0.5, 5).astype(np.float32)
    state, starts = decode(reward, onset, silence, 1.5, 2.0)
    found = path_score(state.tolist(), starts.tolist(), reward, onset, silence)
    best = max(path_score(p, b, reward, onset, silence) for p, b in every_path(5, 2))
    assert found == pytest.approx(best, abs=1e-4)


@pytest.mark.parametrize("seed", range(6))
def test_the_melody_chosen_is_the_best_of_all(seed):
    rng = np.random.default_rng(seed)
    options = rng.integers(10, 50, (4, 3))
    odds = rng.normal(0, 2, (4, 3)).astype(np.float32)

    def worth(choice):
        rows = np.arange(4)
        leaps = np.abs(np.diff(options[rows, list(choice)]))
        return (
            odds[rows, list(choice)].sum()
            - DEFAULTS.leap_cost * np.maximum(0, leaps - DEFAULTS.leap_free).sum()
        )

    best = max(product(range(3), repeat=4), key=worth)
    assert best_melody(options, odds, DEFAULTS).tolist() == list(best)


@pytest.mark.parametrize("midi", [38, 45, 52.33, 60, 71, 84, 95])
def test_a_steady_tone_is_most_salient_at_its_pitch(midi):
    frames = frames_of(blown(midi, 0.5).astype(np.float32), DEFAULTS)
    middle = frames.salience[30:50].mean(axis=0).ravel()
    pitch = DEFAULTS.lowest_midi + (middle.argmax() - 1) / 3
    assert (pitch - midi + 6) % 12 - 6 == pytest.approx(0.0, abs=0.34)  # the octave is decided later
    assert middle.max() > 0.6


def test_a_pitch_between_lags_is_where_the_parabola_peaks():
    # By hand: through 0.5, 0.9, 0.7 it peaks 0.5 * (0.5 - 0.7) / (0.5 - 1.8 + 0.7) = 1/6 of a lag on.
    salience = np.zeros((1, 5, 3), np.float32)
    salience[0, 2] = [0.5, 0.9, 0.7]
    assert refined(salience, np.array([0]), np.array([2]), 1) == pytest.approx(2 + 1 / 18)


def test_a_contour_follows_a_bend_and_knows_silence():
    t = np.arange(RATE) / RATE
    midi = 60.0 + np.clip(t - 0.4, 0.0, 0.2) * 10.0  # two semitones up within 0.2 s
    tone = sum(np.sin(k * 2 * np.pi * np.cumsum(hz(midi)) / RATE) / k for k in range(1, 8))
    frames = frames_of(tone.astype(np.float32), DEFAULTS)
    state = np.round(midi[:: DEFAULTS.hop] - DEFAULTS.lowest_midi).astype(np.int16)
    state[-10:] = GAP
    contour = contour_of(frames.salience[: len(state)], state)
    assert contour[10:-10] == pytest.approx(midi[:: DEFAULTS.hop][10:-10] - DEFAULTS.lowest_midi, abs=0.15)
    assert np.isnan(contour[-10:]).all()


def test_noise_is_not_salient():
    noise = np.random.default_rng(0).standard_normal(RATE).astype(np.float32)
    assert frames_of(noise, DEFAULTS).salience.max(axis=(1, 2)).mean() < DEFAULTS.pitch_floor


def test_bands_are_found_by_their_frequency():
    tone = np.sin(2 * np.pi * 3_000 * np.arange(RATE) / RATE).astype(np.float32)
    bands = frames_of(tone, DEFAULTS).bands_db[50]
    assert band_of_hz(np.array(3_000.0), len(bands), DEFAULTS) == bands.argmax()


def test_levels_ignore_how_much_of_a_stretch_is_silent():
    playing = np.random.default_rng(0).normal(-20, 2, 500).astype(np.float32)
    longer = np.concatenate([np.full(5_000, -140, np.float32), playing])
    assert loudness_of(longer).playing_db == pytest.approx(loudness_of(playing).playing_db)


def test_spans_are_cut_at_starts_and_silences():
    state = np.array([GAP, 4, 4, 4, 4, 7, 7, 7, GAP, 7], np.int16)
    starts = np.array([0, 1, 0, 1, 0, 1, 0, 0, 0, 1], bool)
    spans = spans_of(state, starts, shortest=2)
    assert (spans.start.tolist(), spans.end.tolist(), spans.pitch.tolist()) == (
        [1, 3, 5],
        [3, 5, 8],
        [4, 4, 7],
    )


def test_what_begins_no_note_runs_on_or_falls_away():
    spans = Spans(np.array([0, 10, 20, 60]), np.array([10, 18, 25, 70]), np.array([3, 4, 5, 6]))
    kept = merged(spans, np.array([True, False, False, False]), reach=8)
    assert (kept.start.tolist(), kept.end.tolist(), kept.pitch.tolist()) == ([0], [25], [3])


@given(st.lists(st.integers(0, 90), max_size=12), st.integers(20, 60), st.integers(1, 10))
@settings(max_examples=50, deadline=None)
def test_stretches_cover_the_take_and_share_the_overlap(sizes, length, overlap):
    samples = np.arange(sum(sizes), dtype=np.float32)
    blocks = np.split(samples, np.cumsum(sizes)[:-1]) if sizes else []
    stretches = list(overlapping(blocks, length, overlap))
    assert all(part.tolist() == samples[at : at + len(part)].tolist() for at, part in stretches)
    assert all(len(part) == length for _, part in stretches[:-1])
    assert [at for at, _ in stretches] == [i * (length - overlap) for i in range(len(stretches))]
    assert (stretches[-1][0] + len(stretches[-1][1]) if stretches else 0) == len(samples)


@pytest.mark.parametrize("rate", [8_000, 44_100, 192_000])
def test_resampling_in_blocks_moves_nothing(rate):
    tick = np.zeros(rate, np.float32)
    tick[rate // 2] = 1.0
    heard = np.concatenate(list(resampled(np.array_split(tick, 7), rate, RATE)))
    assert np.argmax(heard) == pytest.approx(RATE / 2, abs=2)
    assert len(heard) == pytest.approx(RATE, abs=2)


def note(onset, pitch):
    return Note(onset, onset + 0.2, pitch, -20.0)


def test_stretches_are_joined_where_both_hear_the_same():
    earlier = [note(1.0, 60), note(8.4, 62), note(9.6, 70)]
    later = [note(8.1, 50), note(8.41, 62), note(9.5, 64), note(11.0, 65)]
    assert [n.pitch_midi for n in joined(earlier, later, 8.0, 10.0)] == [60, 62, 64, 65]


def test_a_note_reaching_over_the_joint_ends_there():
    long = Note(8.0, 12.0, 60.0, -20.0)
    first, second = joined([long], [note(9.5, 64)], 8.0, 10.0)
    assert first.offset_s <= second.onset_s


def test_running_sums_give_means():
    values = np.random.default_rng(0).random((30, 4)).astype(np.float32)
    start, end = np.array([0, 5, 29]), np.array([3, 30, 40])
    expected = [values[0:3].mean(axis=0), values[5:30].mean(axis=0), values[29]]
    assert np.allclose(RunningSum.of(values).mean(start, end), expected)


def test_neighbours_are_looked_up():
    assert preceding(np.array([1, 2, 3]), 9).tolist() == [9, 1, 2]
    assert following(np.array([1, 2, 3]), 9, by=2).tolist() == [3, 9, 9]


def test_candidates_hold_the_best_peaks_and_their_octaves():
    body = np.zeros((1, 68), np.float32)
    body[0, 20], body[0, 27] = 0.9, 0.7
    assert set(candidates(body)[0].tolist()) - {NONE} == {20, 27, 32, 39, 8}


def test_a_network_is_its_layers():
    # By hand: relu([1, -2] @ [[1, 0], [1, 1]] + [0, 3]) = [0, 1]; [0, 1] @ [[5], [2]] + 0.5 = 2.5.
    layers = (
        (np.array([[[1, 0], [1, 1]]], np.float32), np.array([[[0, 3]]], np.float32)),
        (np.array([[[5], [2]]], np.float32), np.array([[[0.5]]], np.float32)),
    )
    assert Network(layers).log_odds(np.array([[1.0, -2.0]])).tolist() == [2.5]


def test_the_networks_that_ship_read_the_evidence_that_is_gathered():
    samples = line(melody(0, 12), plucked)
    spans, stretch = candidate_spans(frames_of(samples, DEFAULTS), DEFAULTS)
    found = found_notes(spans, stretch, DEFAULTS)
    views = views_of(spans, stretch)
    owner = owners(spans, stretch)
    evidence = {
        "boundaries": boundary_evidence(spans, stretch),
        "belonging": belonging_evidence(found.spans, found.begin_odds, found.right, stretch),
        "pitches": pitch_evidence(spans, candidates(views.body), views, stretch, DEFAULTS),
        "attacks": attack_evidence(spans, attack_options(spans, stretch), stretch),
        "releases": release_evidence(spans, owner, np.flatnonzero(owner >= 0), stretch),
    }
    for name, columns in evidence.items():
        assert np.isfinite(columns).all()
        assert network(name).layers[0][0].shape[1] == columns.shape[-1]
        assert network(name).layers[-1][0].shape[2] == 1


def test_pitch_and_frequency_agree_with_the_concert_pitch():
    assert hz(69) == 440.0


def releases(**chances: float) -> np.ndarray:
    """Return 400 frames with ``fNNN=chance`` at frame NNN, else nothing."""
    likely = np.zeros(400, np.float32)
    for frame, chance in chances.items():
        likely[int(frame[1:])] = chance
    return likely


@pytest.mark.parametrize(
    ("likely", "gone", "expected"),
    [
        (releases(f120=0.9, f300=0.1), 310, 120),  # sure: the likeliest
        (releases(f120=0.2, f300=0.1), 310, 300),  # shown nowhere: in the tail before its pitch is gone
        (releases(f120=0.2, f300=0.1), 160, 120),  # already in the tail
        (releases(f120=0.2, f300=0.1), 110, 120),  # its pitch is gone sooner: the likeliest all the same
        (releases(f120=0.2, f200=0.15, f300=0.1), 310, 300),  # 110 frames before is no tail
    ],
)
def test_where_no_release_shows_it_lies_in_the_tail(likely, gone, expected):
    assert 0.2 < UNSURE < 0.9
    assert 10 + RELEASE_REACH < TAIL < 100
    found = likeliest_release(likely, 100, 400, gone)
    assert abs(found - expected) <= RELEASE_REACH
