"""Tension over built takes: it builds where they build, is released where they let go, and else is quiet."""

import numpy as np
import pytest
from arcs import take_of, tension_of
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from batch.model import ChordRole, ChordSpan, Harmony, MomentKind, Tension
from batch.settings import TensionSettings
from batch.tension import measure_tension
from batch.tension.curve import MOST_POINTS, curve_of
from batch.tension.moments import moments_of, peaks_of, smoothed

BUILD = [0.0, 0.2, 0.4, 0.6, 0.8, 1.0, 0.05, 0.0]
"""Six phrases up, then a drop."""
TWO_ARCS = [0.1, 0.3, 0.6, 0.9, 0.2, 0.1, 0.1, 0.4, 0.7, 1.0, 0.2, 0.1]


def spans(tension: Tension, kind: MomentKind) -> list[tuple[int, int | None]]:
    """Return the phrases, from 1, of the moments of a kind."""
    return [
        (m.first_phrase + 1, None if m.last_phrase is None else m.last_phrase + 1)
        for m in tension.moments
        if m.kind is kind
    ]


def test_a_steady_build_of_six_phrases_and_its_release():
    found = tension_of(*take_of(BUILD))
    assert spans(found, MomentKind.BUILD) == [(1, 6)]
    assert spans(found, MomentKind.PEAK) == [(6, 6)]
    assert spans(found, MomentKind.RELEASE) == [(6, 7)]
    assert not found.ends_on_peak
    values = [phrase.value for phrase in found.phrases]
    assert values[:6] == sorted(values[:6])
    assert max(values[6:]) < values[1]


def test_two_arcs_are_two():
    found = tension_of(*take_of(TWO_ARCS))
    assert spans(found, MomentKind.PEAK) == [(4, 4), (10, 10)]
    assert [last for _, last in spans(found, MomentKind.BUILD)] == [4, 10]
    assert spans(found, MomentKind.RELEASE) == [(4, 5), (10, 11)]


def test_a_take_that_ends_on_its_peak_says_so():
    found = tension_of(*take_of([0.0, 0.1, 0.3, 0.5, 0.7, 0.9]))
    assert found.ends_on_peak
    assert spans(found, MomentKind.BUILD) == [(1, 6)]
    assert spans(found, MomentKind.RELEASE) == []


def test_a_last_rise_below_the_peak_is_no_end_on_it():
    assert not tension_of(*take_of([0.0, 0.5, 1.0, 0.5, 0.0, 0.2, 0.5])).ends_on_peak


@pytest.mark.parametrize("level", [0.0, 0.5, 1.0])
def test_a_take_of_phrases_all_alike_is_flat(level):
    found = tension_of(*take_of([level] * 12))
    assert found.moments == ()
    assert not found.ends_on_peak
    values = [phrase.value for phrase in found.phrases]
    assert np.ptp(values) < 1e-9
    # Within a phrase the line goes up and down by four semitones; over the window that is little.
    assert np.ptp(found.curve) < 0.1


@pytest.mark.parametrize("seed", range(20))
def test_small_differences_by_chance_are_no_moments(seed):
    assert tension_of(*take_of([0.5] * 30, jitter=0.1, seed=seed)).moments == ()


@pytest.mark.parametrize(
    ("tension", "peaks"),
    [
        ([0.6, 0.55, 0.5, 0.45, 0.4, 0.35], []),  # lets go little by little
        ([0.5, 0.42, 0.5, 0.4, 0.3, 0.3], []),
        ([0.5, 0.45, 0.3, 0.3, 0.9, 0.3], [4]),
        ([0.9, 0.3, 0.3, 0.3, 0.3, 0.3], [0]),  # and one that starts on its peak
    ],
)
def test_an_opening_is_a_peak_only_if_it_falls_off_at_once(tension, peaks):
    assert peaks_of(np.array(tension), TensionSettings()) == peaks


def test_call_and_response_is_not_a_peak_each():
    found = tension_of(*take_of([0.2, 0.9] * 8))
    assert len(spans(found, MomentKind.PEAK)) <= 2
    assert spans(found, MomentKind.BUILD) == []


@pytest.mark.parametrize("levels", [[0.5], [0.0, 1.0]])
def test_one_phrase_or_two_build_nothing(levels):
    found = tension_of(*take_of(levels))
    assert found.moments == ()
    assert len(found.phrases) == len(levels)
    assert len(found.times_s) == len(found.curve) >= 2


def test_a_take_without_phrases_has_no_tension():
    made = measure_tension(
        (), (), None, None, percentiles={}, settings=TensionSettings(), groove=None, held=None
    )
    assert made is None


def test_a_peak_lies_within_its_phrase():
    notes, phrases = take_of(BUILD)
    (peak,) = [m for m in tension_of(notes, phrases).moments if m.kind is MomentKind.PEAK]
    assert phrases[5].start_s <= peak.start_s < peak.end_s == phrases[5].end_s


def test_parts_that_are_not_measured_drop_out_and_the_rest_counts_in_full():
    found = tension_of(*take_of(BUILD))
    assert found.phrases[0].parts["groove"] is None
    assert found.phrases[0].parts["harmony"] is None
    # Density, register and dynamics weigh 1, held notes a half: of 3.5.
    assert found.weights == pytest.approx(
        {"density": 1 / 3.5, "register": 1 / 3.5, "dynamics": 1 / 3.5, "held": 0.5 / 3.5}
    )
    for phrase in found.phrases:
        parts = sum(found.weights[name] * part for name, part in phrase.parts.items() if part is not None)
        assert phrase.value == pytest.approx(parts)


def test_a_weight_of_nothing_leaves_a_part_out():
    weights = {f"{name}_weight": 0.0 for name in ("groove", "register", "dynamics", "held", "harmony")}
    found = tension_of(*take_of(BUILD), settings=TensionSettings(**weights))
    assert found.weights == {"density": 1.0}
    assert [phrase.value for phrase in found.phrases] == [phrase.parts["density"] for phrase in found.phrases]


def test_weights_cannot_all_be_nothing():
    parts = ("groove", "density", "register", "dynamics", "held", "harmony")
    with pytest.raises(ValidationError, match="one weight at least"):
        TensionSettings(**{f"{name}_weight": 0.0 for name in parts})


def test_a_keyboard_without_touch_has_no_dynamics():
    notes, phrases = take_of(BUILD)
    level = [type(note)(note.onset_s, note.offset_s, note.pitch_midi, -20.0) for note in notes]
    assert "dynamics" not in tension_of(level, phrases).weights


def test_notes_outside_the_chords_are_tenser():
    notes, phrases = take_of([0.5, 0.5, 0.5])
    roles = [ChordRole.CHORD_TONE] * len(notes)
    for number, role in ((1, ChordRole.EXTENSION), (2, ChordRole.OUTSIDE)):
        for i in range(phrases[number].first_note, phrases[number].last_note + 1):
            roles[i] = role
    chord = ChordSpan("C", 0.0, 100.0, 1)
    harmony = Harmony("x", (chord,), (0,) * len(notes), ("1",) * len(notes), tuple(roles))
    found = tension_of(notes, phrases, harmony=harmony)
    assert [phrase.parts["harmony"] for phrase in found.phrases] == [0.0, 0.5, 1.0]
    assert found.phrases[0].value < found.phrases[1].value < found.phrases[2].value


@pytest.mark.parametrize("semitones", [-12, 5])
@pytest.mark.parametrize("louder_db", [-20.0, 10.0])
def test_transposed_and_louder_it_is_the_same(semitones, louder_db):
    notes, phrases = take_of(TWO_ARCS)
    other = [
        type(note)(note.onset_s, note.offset_s, note.pitch_midi + semitones, note.loudness_db + louder_db)
        for note in notes
    ]
    ours, theirs = tension_of(notes, phrases), tension_of(other, phrases)
    assert theirs.moments == ours.moments
    assert theirs.curve == pytest.approx(ours.curve)


def test_the_curve_of_a_long_take_has_a_bounded_number_of_points():
    notes, phrases = take_of([0.2, 0.8] * 1600)
    found = tension_of(notes, phrases)
    assert notes[-1].offset_s > 3 * 3600
    assert len(found.curve) == len(found.times_s) == MOST_POINTS
    assert 0 <= min(found.curve) <= max(found.curve) <= 1


def test_the_curve_goes_straight_over_a_silence():
    notes, _ = take_of([0.5, 0.5])
    later = [type(n)(n.onset_s + 60, n.offset_s + 60, n.pitch_midi, n.loudness_db) for n in notes]
    tension = np.array([0.0] * len(notes) + [1.0] * len(later))
    times, curve = curve_of([*notes, *later], tension, 0.0, later[-1].offset_s, smoothed_s=2.0)
    within = (times > 15) & (times < 50)
    assert np.all(np.diff(curve[within]) > 0)
    assert np.allclose(np.diff(curve[within], 2), 0, atol=1e-9)


def test_smoothing_is_the_mean_of_neighbours():
    # By hand: quarter, half, quarter; at the ends two thirds and one third.
    assert smoothed(np.array([0.0, 1.0, 0.0, 0.0])) == pytest.approx([1 / 3, 0.5, 0.25, 0.0])
    assert smoothed(np.array([0.4])) == pytest.approx([0.4])
    assert smoothed(np.array([0.0, 0.9])) == pytest.approx([0.3, 0.6])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=40))
def test_moments_of_any_tension_lie_in_the_take_and_keep_their_thresholds(values):
    _, phrases = take_of([0.5] * len(values))
    tension, limits = np.array(values), TensionSettings()
    curve = (np.array([0.0]), np.array([0.0]))
    for moment in moments_of(phrases, tension, curve, limits):
        assert 0 <= moment.first_phrase <= moment.last_phrase < len(values)
        if moment.kind is MomentKind.RELEASE:
            drop = tension[moment.first_phrase] - tension[moment.last_phrase]
            assert drop >= limits.release_from
        if moment.kind is MomentKind.BUILD:
            assert moment.last_phrase - moment.first_phrase + 1 >= limits.build_phrases
            assert moment.last_phrase in peaks_of(tension, limits)
