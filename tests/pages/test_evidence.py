"""What is said of a phrase, in words: expectations are written out by hand from its numbers."""

from dataclasses import replace

import pytest
from building import NEW, evidence, grid_of

from batch.bars import BarCounter
from batch.model import Device, LabelledPhrase, Relation, RelationKind
from exporters.page.evidence import evidence_words, label_words
from pages.making import labels_of

BARS = BarCounter.of(grid_of([0.5 * i for i in range(40)], [1 + i % 4 for i in range(40)]))


def phrase(kind="long sparse in", relation=NEW, **more):
    """Return a phrase from 4.0 s, which is bar 3, to 5.3 s."""
    return LabelledPhrase(4.0, 5.3, 0, 4, labels_of(kind), replace(evidence(1.3), **more), relation)


def said(what, kind="long sparse in", bars=None, relation=NEW, **more):
    return dict(evidence_words(phrase(kind, relation, **more), bars))[what]


def test_where_a_phrase_is():
    assert said("Where") == "0:04.0 to 0:05.3"
    # 120 beats a minute in 4/4 from 0: 4.0 s is beat 9, the first of bar 3; 5.3 s is 2.6 beats later.
    assert said("Where", bars=BARS) == "0:04.0 to 0:05.3, bar 3 beat 1 to bar 3 beat 3.6"


def test_how_long_and_how_dense_in_beats_where_there_are_some():
    assert said("Length") == "long: 1.3 s"
    assert said("Length", duration_beats=2.6) == "long: 2.6 beats, 1.3 s"
    assert said("Density", notes_per_s=3.846, note_count=5) == "sparse: 3.8 notes a second, 5 notes"
    assert said("Density", notes_per_beat=1.92, note_count=1) == "sparse: 1.9 notes a beat, 1 note"


@pytest.mark.parametrize(
    ("off_grid", "nearness"), [(0.03, "on"), (0.099, "on"), (0.1, "near"), (0.199, "near"), (0.2, "off")]
)
def test_how_near_the_grid(off_grid, nearness):
    words = said("Groove", off_grid=off_grid)
    assert (
        words == f"in the groove; {nearness} the grid ({off_grid:.2f} of a subdivision away, by chance 0.25)"
    )


def test_what_puts_a_phrase_against_the_groove():
    devices = (Device("off-beats", 4.0, 4.5), Device("threes", 4.5, 5.0), Device("off-beats", 5.0, 5.3))
    words = said("Groove", "long sparse against", devices=devices, syncopation=0.4)
    assert words == (
        "against the groove; off-beats from 0:04.0 to 0:04.5; threes from 0:04.5 to 0:05.0;"
        " off-beats from 0:05.0 to 0:05.3; 40% of the notes syncopated"
    )
    named = label_words(phrase("long sparse against", devices=devices))
    assert named == "long, sparse, against the groove: off-beats, threes"


def test_a_groove_that_is_not_measured_has_no_numbers():
    words = said("Groove", "long sparse none", off_grid=0.1, syncopation=0.5)
    assert words == "unmeasured: there is no beat that is sure enough to count on"
    assert label_words(phrase("short dense none")) == "short, dense, groove unmeasured"


@pytest.mark.parametrize(
    ("register", "words"),
    [
        (0.4, "middle: at the take's middle"),
        (0.6, "middle: 1 semitone above the take's middle"),
        (-5.2, "middle: 5 semitones below the take's middle"),
    ],
)
def test_how_high_it_lies(register, words):
    assert said("Register", register=register) == words


def test_how_it_is_played_where_that_is_known():
    known = dict(evidence_words(phrase(articulation=0.95, leap_share=0.25), None))
    assert known["Articulation"].endswith(": notes last 95% of the time to the next one")
    assert known["Intervals"].endswith(": 25% of the intervals are larger than two semitones")
    assert not {"Articulation", "Intervals"} & set(dict(evidence_words(phrase(), None)))


@pytest.mark.parametrize(
    ("relation", "words"),
    [
        (NEW, "new"),
        (Relation(RelationKind.VARIES, 3, 0.823), "varies phrase 4 (similarity 0.82)"),
        (Relation(RelationKind.ANSWERS, 0, None), "answers phrase 1"),
        (
            Relation(RelationKind.ANSWERS, 0, 0.2, contrasts=("length", "register")),
            "answers phrase 1: contrast in length, register",
        ),
        (
            Relation(RelationKind.VARIES, 0, 1.0, kept=("intervals", "rhythm"), transposed=0, stretched=1.02),
            "repeats phrase 1 (similarity 1.00)",
        ),
        (
            Relation(
                RelationKind.VARIES,
                0,
                0.86,
                kept=("intervals", "rhythm"),
                transposed=-5,
                stretched=2.0,
                notes_left_out=2,
                notes_added=1,
                displaced_beats=1.5,
            ),
            "varies phrase 1 (similarity 0.86): down a fourth, twice as long, 2 notes left out, 1 note added,"
            " 1 1/2 beats later in the bar",
        ),
        (
            Relation(RelationKind.VARIES, 1, 0.6, kept=("rhythm",), notes_replaced=1),
            "varies phrase 2 (similarity 0.60): same rhythm, other notes, 1 note changed",
        ),
        (
            Relation(RelationKind.VARIES, 1, 0.8, kept=("contour", "rhythm"), transposed=2),
            "varies phrase 2 (similarity 0.80): same contour and rhythm, up a whole tone",
        ),
        (
            Relation(RelationKind.VARIES, 1, 0.8, kept=("inversion", "rhythm"), answers_too=True),
            "varies phrase 2 (similarity 0.80): upside down; answers the one before",
        ),
    ],
)
def test_what_it_does_with_an_earlier_one(relation, words):
    assert said("Relation", relation=relation) == words


def test_labels_in_doubt_are_marked_and_explained():
    doubted = phrase("long sparse in", borderline=("length", "groove"))
    assert label_words(doubted) == "long ~, sparse, in the groove ~"
    assert dict(evidence_words(doubted, None))["In doubt"] == (
        "a small change would make it short and the other groove"
    )
    assert said("In doubt", "short dense in", borderline=("length", "density")) == (
        "a small change would make it long and sparse"
    )
    assert said("In doubt", borderline=("register",)) == "a small change would make it another register"
    assert "In doubt" not in dict(evidence_words(phrase(), None))
