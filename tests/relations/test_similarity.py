"""How alike two phrases are, against what must hold and against another measure of likeness."""

from difflib import SequenceMatcher

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from relating import line, take

from batch.relations import similarity

PITCHES = [60, 64, 67, 65, 62, 63, 69, 67]
LENGTHS = [1, 0.5, 0.5, 1.5, 0.5, 1, 0.5, 1.5]

melodies = st.lists(
    st.tuples(st.integers(48, 84), st.sampled_from([0.25, 0.5, 0.75, 1.0, 1.5, 2.0])), min_size=3, max_size=14
)


def notes(pitches, lengths, start=0.0, tempo=1.0, up=0.0):
    """Return a phrase played slower by ``tempo``, later by ``start`` beats, higher by ``up``."""
    part = line([p + up for p in pitches], [tempo * n for n in lengths])
    return take(part, starts=[start]).notes


@settings(deadline=None)
@given(melodies, st.integers(-24, 24), st.floats(0.25, 4.0), st.floats(0, 100))
def test_a_phrase_is_like_itself_in_any_key_and_tempo_and_place(melody, up, tempo, start):
    pitches, lengths = zip(*melody, strict=True)
    assert similarity(notes(pitches, lengths), notes(pitches, lengths, start, tempo, up)) == 1.0


@settings(deadline=None)
@given(melodies, melodies, st.integers(-24, 24), st.integers(0, 200))
def test_the_key_and_the_place_of_either_do_not_matter(first, second, up, start):
    (a, lengths), (b, other) = zip(*first, strict=True), zip(*second, strict=True)
    likeness = similarity(notes(a, lengths), notes(b, other))
    assert 0 <= likeness <= 1
    assert similarity(notes(a, lengths, up=up), notes(b, other, start)) == likeness


@pytest.mark.parametrize(("first", "last"), [(0, 8), (0, 6), (2, 8), (1, 7), (0, 4), (3, 8)])
def test_of_a_part_it_is_the_ratio_of_ratcliff_and_obershelp(first, last):
    # difflib: twice the elements that match over all elements.
    part = slice(first, last)
    expected = SequenceMatcher(None, PITCHES, PITCHES[part]).ratio()
    assert similarity(notes(PITCHES, LENGTHS), notes(PITCHES[part], LENGTHS[part])) == pytest.approx(
        expected, abs=0.001
    )


def test_it_is_the_same_either_way_round():
    first, second = notes(PITCHES, LENGTHS), notes([*PITCHES[:3], 70, *PITCHES[4:], 61], [*LENGTHS, 1])
    assert similarity(first, second) == similarity(second, first) > 0.7


def test_the_more_is_changed_the_less_it_is():
    first = notes(PITCHES, LENGTHS)
    one = notes([*PITCHES[:3], 70, *PITCHES[4:]], LENGTHS)
    rhythm = notes(PITCHES, [0.5, 1, 1.5, 0.5, 1, 0.5, 1.5, 0.5])
    other = notes([50, 71, 55, 68, 49, 66, 52, 63], [0.25, 2, 0.25, 0.25, 3, 0.5, 0.25, 1])
    likeness = [similarity(first, second) for second in (first, one, rhythm, other)]
    assert likeness == sorted(likeness, reverse=True)
    assert likeness[0] == 1
    assert likeness[-1] < 0.5


def test_two_notes_have_no_shape():
    assert similarity(notes(PITCHES[:2], LENGTHS[:2]), notes(PITCHES, LENGTHS)) == 0
