"""Ideas that run through a take, and how connected it is, from relations written by hand."""

from batch.model import Motif, Phrase, Relation, RelationKind
from batch.relations import relatedness

NEW = Relation(RelationKind.NEW, None, None)


def varies(to):
    return Relation(RelationKind.VARIES, to, 0.9)


def answers(to):
    return Relation(RelationKind.ANSWERS, to, None)


def related(*relations):
    phrases = [Phrase(10.0 * i, 10.0 * i + 4, i, i) for i in range(len(relations))]
    return relatedness(phrases, relations, phrases_from=4)


def test_an_idea_said_three_times_is_a_motif_whichever_statement_is_varied():
    found = related(NEW, NEW, varies(0), NEW, varies(2), varies(0))
    assert found.motifs == (Motif((0, 2, 4, 5), 0.0, 54.0),)


def test_an_idea_said_twice_is_one_only_if_it_comes_back_from_far():
    assert related(NEW, varies(0), NEW, NEW).motifs == ()
    assert related(*[NEW] * 7, varies(0)).motifs == ()
    assert related(*[NEW] * 8, varies(0)).motifs == (Motif((0, 8), 0.0, 84.0),)


def test_motifs_stand_in_the_order_in_which_they_begin():
    found = related(NEW, NEW, varies(1), varies(0), varies(1), varies(0))
    assert [motif.phrases for motif in found.motifs] == [(0, 3, 5), (1, 2, 4)]


def test_connectedness_is_the_share_of_phrases_after_the_first_that_take_up_or_answer():
    assert related(NEW, varies(0), answers(1), NEW, NEW).connectedness == 50  # two of four
    assert related(NEW, NEW, NEW, NEW).connectedness == 0
    assert related(NEW, varies(0), varies(1), answers(2)).connectedness == 100


def test_too_few_phrases_are_not_judged():
    found = related(NEW, varies(0), varies(1))
    assert (found.connectedness, found.why_null) == (None, "fewer than 4 phrases")
    assert found.motifs == (Motif((0, 1, 2), 0.0, 24.0),)
    assert related().connectedness is None
