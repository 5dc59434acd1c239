"""What a phrase does with an earlier one, in a narrow column."""

import pytest

from batch.model import Relation, RelationKind
from batch.words import short_relation

KEPT = ("intervals", "rhythm")


@pytest.mark.parametrize(
    ("relation", "words"),
    [
        (Relation(RelationKind.NEW, None, None), ""),
        (Relation(RelationKind.ANSWERS, 8, 0.1, contrasts=("length", "density")), "answers 09"),
        (Relation(RelationKind.VARIES, 0, 0.9), "varies 01"),
        (Relation(RelationKind.VARIES, 0, 1.0, kept=KEPT, transposed=0, displaced_beats=0.0), "repeats 01"),
        (Relation(RelationKind.VARIES, 0, 1.0, kept=KEPT, transposed=5, notes_left_out=2), "varies 01, up 5"),
        (Relation(RelationKind.VARIES, 11, 0.9, kept=KEPT, notes_left_out=2), "varies 12, 2 notes left out"),
        (Relation(RelationKind.VARIES, 1, 1.0, kept=KEPT, answers_too=True), "repeats 02, answers"),
    ],
)
def test_a_narrow_column_tells_what_tells_most(relation, words):
    assert short_relation(relation) == words
