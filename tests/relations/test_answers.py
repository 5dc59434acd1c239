"""Which phrase answers the one before it, on calls and answers built by hand."""

import pytest
from relating import line, take

from batch.model import RelationKind

CALL = line([84, 82, 81, 79, 77, 76], [0.25] * 6, sounding=0.4)  # short, dense, high, staccato
ANSWER = line([57, 60, 62, 65, 64, 60], [2, 1, 1, 2, 1, 2], sounding=0.98)  # long, sparse, low, legato
LIKE_THE_CALL = line([79, 83, 81, 84, 78, 80], [0.25] * 6, sounding=0.4)


def kinds(*parts, starts):
    return [relation.kind for relation in take(*parts, starts=starts).related()]


def test_a_contrast_after_a_short_gap_answers():
    # The call ends on beat 5.5 of the take; what comes before and after is further away.
    call, answer = take(CALL, ANSWER, starts=[4, 6]).related()
    assert call.kind is RelationKind.NEW
    assert (answer.kind, answer.to_phrase) == (RelationKind.ANSWERS, 0)
    assert answer.contrasts == ("length", "density", "register", "articulation")


def test_the_same_contrast_after_a_long_silence_is_new():
    # A beat lasts half a second; of the silences around the pair the shorter one lasts 6 beats.
    parts = [LIKE_THE_CALL, CALL, ANSWER, LIKE_THE_CALL]
    near, far = [0, 8, 13, 40], [0, 8, 14, 40]
    assert take(*parts, starts=near).related()[2].kind is RelationKind.ANSWERS
    assert take(*parts, starts=far).related()[2].kind is RelationKind.NEW
    assert take(*parts, starts=far).related(answer_gap_s=3.0)[2].kind is RelationKind.ANSWERS


def test_what_is_like_the_call_does_not_answer_it():
    assert kinds(CALL, LIKE_THE_CALL, starts=[4, 6])[1] is RelationKind.NEW


def test_what_lies_nearer_to_the_next_phrase_does_not_answer():
    other = line([70, 75, 68, 71, 74, 66, 70], [0.5, 1, 0.5, 0.75, 0.25, 1, 1], sounding=0.6)
    nearer_to_call = kinds(CALL, ANSWER, other, starts=[4, 6, 18])
    nearer_to_next = kinds(CALL, ANSWER, other, starts=[4, 8, 17.5])
    assert nearer_to_call[1] is RelationKind.ANSWERS
    assert nearer_to_next[1] is RelationKind.NEW


def test_an_answer_that_takes_over_where_the_call_ends_needs_less_contrast():
    call = line([72, 71, 74, 72, 69, 67], [0.25] * 6)  # dense and short
    over = line([66, 69, 64, 71, 62, 70], [1.5, 2, 1, 2, 1.5, 2])  # sparse and long, as high
    away = line([79, 74, 69, 71, 62, 64], [1.5, 2, 1, 2, 1.5, 2])
    assert kinds(call, over, starts=[4, 6])[1] is RelationKind.ANSWERS
    assert kinds(call, away, starts=[4, 6])[1] is RelationKind.NEW


def turns(gap):
    """Return calls and answers in turn, each of other notes, ``gap`` beats between all of them."""
    calls = [line([80 + i, 79, 82 - i, 84, 77 + i, 78], [0.25] * 6, sounding=0.4) for i in range(3)]
    replies = [
        line([57 + i, 62, 60 - i, 65, 55, 59 + i], [2, 1, 1, 2, 1, 2], sounding=0.98) for i in range(3)
    ]
    parts = [part for pair in zip(calls, replies, strict=True) for part in pair]
    starts = [4.0]
    for part in parts[:-1]:
        starts.append(starts[-1] + (1.5 if part in calls else 9) + gap)
    return take(*parts, starts=starts).related()


def test_calls_and_answers_in_turn_need_no_nearer_gap():
    answered = [one.kind is RelationKind.ANSWERS or one.answers_too for one in turns(2)]
    assert answered == [False, True, False, True, False, True]


def test_turns_with_long_silences_between_are_none():
    assert not any(one.kind is RelationKind.ANSWERS or one.answers_too for one in turns(6))


def test_an_answer_may_be_a_variation_too():
    parts = [CALL, ANSWER, LIKE_THE_CALL, ANSWER]
    last = take(*parts, starts=[4, 6, 19, 21]).related()[3]
    assert (last.kind, last.to_phrase, last.answers_too) == (RelationKind.VARIES, 1, True)
    assert "register" in last.contrasts


@pytest.mark.parametrize("count", [1, 2, 5])
def test_equal_phrases_never_answer(count):
    assert RelationKind.ANSWERS not in kinds(*[CALL] * count, starts=[4 + 2 * i for i in range(count)])
