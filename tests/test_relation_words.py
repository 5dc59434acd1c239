"""What a phrase does with an earlier one, in a narrow column."""

from dataclasses import replace

import pytest
from building import NEW, analysis_of, phrases_at

from batch.model import Relatedness, Relation, RelationKind
from batch.relation_words import change_words, relatedness_words, relation_words, short_relation

KEPT = ("intervals", "rhythm")


@pytest.mark.parametrize(
    ("relation", "words"),
    [
        (Relation(RelationKind.NEW, None, None), ""),
        (Relation(RelationKind.ANSWERS, 8, 0.1, contrasts=("length", "density")), "answers 09"),
        (Relation(RelationKind.VARIES, 0, 0.9), "varies 01"),
        (Relation(RelationKind.VARIES, 0, 1.0, kept=KEPT, transposed=0, displaced_beats=0.0), "repeats 01"),
        (
            Relation(RelationKind.VARIES, 0, 1.0, kept=KEPT, transposed=5, notes_left_out=2),
            "varies 01, up a fourth",
        ),
        (Relation(RelationKind.VARIES, 11, 0.9, kept=KEPT, notes_left_out=2), "varies 12, 2 notes left out"),
        (Relation(RelationKind.VARIES, 1, 1.0, kept=KEPT, answers_too=True), "repeats 02, answers"),
        (
            Relation(RelationKind.VARIES, 6, 0.3, kept=KEPT, notes_kept=8, notes_added=40),
            "takes up 8 notes of 07",
        ),
    ],
)
def test_a_narrow_column_tells_what_tells_most(relation, words):
    assert short_relation(relation) == words


@pytest.mark.parametrize(
    ("semitones", "words"),
    [
        (1, "up a semitone"),
        (-2, "down a whole tone"),
        (-12, "down an octave"),
        (19, "up an octave and a fifth"),
        (-24, "down 2 octaves"),
    ],
)
def test_transpositions_are_called_as_players_call_them(semitones, words):
    assert list(change_words(Relation(RelationKind.VARIES, 0, 1.0, kept=KEPT, transposed=semitones))) == [
        words
    ]


@pytest.mark.parametrize(
    ("beats", "words"),
    [
        (0.5, "half a beat later in the bar"),
        (-1 / 3, "a third of a beat earlier in the bar"),
        (1.0, "a beat later in the bar"),
        (-1.5, "1 1/2 beats earlier in the bar"),
        (2.0, "2 beats later in the bar"),
    ],
)
def test_displacements_are_told_in_beats_either_way(beats, words):
    assert list(change_words(Relation(RelationKind.VARIES, 0, 1.0, kept=KEPT, displaced_beats=beats))) == [
        words
    ]


def test_what_was_changed_most_is_told_first():
    relation = Relation(RelationKind.VARIES, 0, 0.6, KEPT, notes_left_out=1, notes_added=5, notes_kept=9)
    assert list(change_words(relation)) == ["5 notes added", "1 note left out"]


def test_the_same_notes_in_another_rhythm_are_said_to_be():
    relation = Relation(RelationKind.VARIES, 2, 0.5, kept=("intervals",), notes_kept=9)
    assert relation_words(relation) == "varies phrase 3 (similarity 0.50): same intervals, other rhythm"


@pytest.mark.parametrize(
    ("kinds", "words"),
    [
        (
            [RelationKind.VARIES] + [RelationKind.NEW] * 3,
            "1 of the 4 phrases after the first takes up or answers",
        ),
        ([RelationKind.ANSWERS] * 3, "all of the 3 phrases after the first take up or answer"),
        ([RelationKind.NEW] * 3, "none of the 3 phrases after the first take up or answer"),
    ],
)
def test_how_connected_a_take_is_is_said_in_numbers(kinds, words):
    relations = [NEW, *(Relation(kind, None if kind is RelationKind.NEW else 0, None) for kind in kinds)]
    phrases = phrases_at([(float(i), i + 0.5) for i in range(len(relations))])
    related = tuple(replace(one, relation=relation) for one, relation in zip(phrases, relations, strict=True))
    analysis = replace(analysis_of(related), relatedness=Relatedness(50.0))
    assert relatedness_words(analysis) == [f"connected: {words} an earlier one"]
