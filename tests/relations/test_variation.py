"""What is varied and how, on takes built so that phrase 4 does something known with phrase 1."""

import random

import pytest
from relating import line, take

from batch.model import RelationKind

PITCHES = [60, 64, 67, 65, 62, 63, 69, 67]
LENGTHS = [1, 0.5, 0.5, 1.5, 0.5, 1, 0.5, 1.5]
FIRST = line(PITCHES, LENGTHS)
SECOND = line([72, 71, 69, 74, 70, 65], [0.5, 0.5, 1, 0.25, 0.75, 2])
THIRD = line([55, 58, 57, 60, 53], [2, 1 / 3, 1 / 3, 1 / 3, 1])

IN_F = {60: 62, 62: 64, 63: 65, 64: 65, 65: 67, 67: 69, 69: 70}
"""A step up in F major: 60 to 64 was a major third, 62 to 65 is a minor one."""

VARIATIONS = {
    "the same": (FIRST, {"transposed": 0, "similarity": 1.0, "kept": ("intervals", "rhythm")}),
    "up a fourth": (line([p + 5 for p in PITCHES], LENGTHS), {"transposed": 5, "similarity": 1.0}),
    "down a fifth": (line([p - 7 for p in PITCHES], LENGTHS), {"transposed": -7}),
    "up a step of the scale": (
        line([IN_F[p] for p in PITCHES], LENGTHS),
        {"transposed": 2, "kept": ("contour", "rhythm")},
    ),
    "two notes fewer at the end": (line(PITCHES[:-2], LENGTHS[:-2]), {"notes_left_out": 2, "notes_added": 0}),
    "two notes fewer at the start": (line(PITCHES[2:], LENGTHS[2:]), {"notes_left_out": 2}),
    "shortened and up a fourth": (
        line([p + 5 for p in PITCHES[:-2]], LENGTHS[:-2]),
        {"notes_left_out": 2, "transposed": 5},
    ),
    "two notes more at the end": (
        line([*PITCHES, 70, 66], [*LENGTHS, 0.5, 1]),
        {"notes_added": 2, "notes_left_out": 0},
    ),
    "two notes more at the start": (line([58, 59, *PITCHES], [0.5, 0.5, *LENGTHS]), {"notes_added": 2}),
    "part of a longer line": (
        line([50, 52, 53, 57, *PITCHES, 72, 71, 69, 67], [*[0.5] * 4, *LENGTHS, *[0.5] * 4]),
        {"notes_added": 8},
    ),
    "one note changed": (
        line([*PITCHES[:3], 68, *PITCHES[4:]], LENGTHS),
        {"notes_replaced": 1, "notes_added": 0, "notes_left_out": 0},
    ),
    "two notes put in": (
        line([*PITCHES[:4], 64, 65, *PITCHES[4:]], [*LENGTHS[:3], 1, 0.25, 0.25, *LENGTHS[4:]]),
        {"notes_added": 2},
    ),
    "a note not heard": (
        line([*PITCHES[:3], *PITCHES[4:]], [*LENGTHS[:2], 2, *LENGTHS[4:]]),
        {"notes_left_out": 1},
    ),
    "twice as long": (line(PITCHES, [2 * n for n in LENGTHS]), {"stretched": 2.0, "similarity": 1.0}),
    "half as long": (line(PITCHES, [n / 2 for n in LENGTHS]), {"stretched": 0.5, "similarity": 1.0}),
    "short for long": (
        line(PITCHES, [0.5, 1, 1.5, 0.5, 1, 0.5, 1.5, 0.5]),
        {"kept": ("intervals",), "transposed": 0, "stretched": None},
    ),
    "evened out": (line(PITCHES, [0.5] * 8), {"kept": ("intervals",)}),
    "other pitches": (
        line([60, 59, 62, 66, 64, 57, 60, 61], LENGTHS),
        {"kept": ("rhythm",), "transposed": None, "stretched": 1.0},
    ),
    "on one pitch": (line([62] * 8, LENGTHS), {"kept": ("rhythm",)}),
    "upside down": (line([120 - p for p in PITCHES], LENGTHS), {"kept": ("inversion", "rhythm")}),
}


@pytest.mark.parametrize("name", VARIATIONS)
def test_a_variation_is_found_and_described(name):
    varied, expected = VARIATIONS[name]
    relation = take(FIRST, SECOND, THIRD, varied).related()[3]
    assert (relation.kind, relation.to_phrase) == (RelationKind.VARIES, 0)
    assert {key: getattr(relation, key) for key in expected} == expected


@pytest.mark.parametrize("name", VARIATIONS)
def test_it_is_found_as_played_and_heard(name):
    built = take(FIRST, SECOND, THIRD, VARIATIONS[name][0])
    relations = [built.as_heard(seed).related()[3] for seed in range(10)]
    assert [relation.to_phrase for relation in relations] == [0] * 10


@pytest.mark.parametrize(
    "other",
    [
        line([66, 61, 68, 59, 70, 58, 63], [0.5, 1.5, 0.25, 0.25, 2, 1, 1]),
        line(PITCHES[::-1], LENGTHS[::-1]),
        line([60, 64], [1, 0.5]),
        line([60], [4]),
    ],
)
def test_another_phrase_is_new(other):
    assert take(FIRST, SECOND, THIRD, other).related()[3].kind is RelationKind.NEW


def rows(seed, lengths):
    """Return six phrases of one rhythm, each with pitches drawn by lot."""
    drawn = random.Random(seed)
    return [line([drawn.randint(50, 79) for _ in lengths], lengths) for _ in range(6)]


def test_an_even_row_has_no_rhythm_to_recognise_and_an_uneven_one_has():
    even = [one for seed in range(20) for one in take(*rows(seed, [0.5] * 8)).related()]
    uneven = [one for seed in range(20) for one in take(*rows(seed, LENGTHS)).related()]
    assert sum(one.kind is RelationKind.VARIES for one in even) <= 2  # of 100
    assert sum(one.kind is RelationKind.VARIES for one in uneven) >= 95


def test_runs_up_the_scale_are_recognised_less_than_what_is_seldom_played():
    runs = [line([start + step for step in (0, 2, 4, 5)], [0.5] * 4) for start in (60, 65, 72)]
    leaps = [line([start + step for step in (0, 9, 1, 8)], [0.5] * 4) for start in (60, 65, 72)]

    def found(phrases, by_chance):
        return take(phrases[0], SECOND, THIRD, phrases[1]).related(by_chance=by_chance)[3].to_phrase

    assert (found(leaps, 0.015), found(leaps, 0.0005)) == (0, 0)
    assert (found(runs, 0.015), found(runs, 0.0005)) == (0, None)


@pytest.mark.parametrize("pitches", [[60, 62, 64, 65], [60] * 4, [60] * 9, [72, 71, 70, 69, 68, 67, 66]])
def test_a_phrase_said_again_is_recognised_however_plain(pitches):
    plain = line(pitches, [0.5] * len(pitches))
    relation = take(plain, plain).related()[1]
    assert (relation.kind, relation.similarity, relation.transposed) == (RelationKind.VARIES, 1.0, 0)


def test_the_one_most_surely_like_it_is_named_not_the_last():
    twin = line([p + 3 for p in PITCHES], LENGTHS)
    near = line([*PITCHES[:4], 55, 71, 58, 74], LENGTHS)
    assert take(FIRST, near, twin).related()[2].to_phrase == 0


def test_the_further_back_the_surer_it_must_be():
    short = line([60, 63, 67, 65], [0.5, 0.5, 0.5, 1])
    up = line([67, 70, 74, 72], [0.5, 0.5, 0.5, 1])
    drawn = random.Random(3)
    between = [
        line([drawn.randint(50, 75) for _ in range(7)], [drawn.choice([0.25, 0.5, 1, 1.5]) for _ in range(7)])
        for _ in range(40)
    ]
    assert take(short, up).related()[1].to_phrase == 0
    assert take(short, *between, up).related()[-1].to_phrase != 0
    assert take(FIRST, *between, FIRST).related()[-1].to_phrase == 0


def test_no_further_back_than_the_settings_say():
    built = take(FIRST, SECOND, THIRD, FIRST)
    assert built.related(look_back=3)[3].to_phrase == 0
    assert built.related(look_back=2)[3].to_phrase is None


def test_less_chance_allowed_asks_for_surer_likeness():
    built = take(line([60, 63, 67, 65], [0.5, 0.5, 0.5, 1]), line([67, 70, 74, 72], [0.5, 0.5, 0.5, 1]))
    assert built.related(by_chance=0.02)[1].kind is RelationKind.VARIES
    assert built.related(by_chance=1e-6)[1].kind is RelationKind.NEW


@pytest.mark.parametrize(
    ("start", "later"),
    [(28, 0), (29, 1), (29.5, 1.5), (27.5, -0.5), (26 + 2 / 3, -1 - 1 / 3), (30, 2), (31, -1)],
)
def test_how_much_later_in_the_bar(start, later):
    # Phrase 1 starts on beat 4, a downbeat in 4/4; by arithmetic beat 29 is one beat later in the bar.
    built = take(FIRST, SECOND, THIRD, FIRST, starts=[4, 12, 20, start])
    assert built.related(built.grid())[3].displaced_beats == pytest.approx(later, abs=0.01)
    assert built.related()[3].displaced_beats is None


def test_a_little_late_is_timing_and_no_displacement():
    built = take(FIRST, SECOND, THIRD, FIRST, starts=[4, 12, 20, 28.1])
    assert built.related(built.grid())[3].displaced_beats == 0


def test_what_comes_back_as_it_was_is_heard_as_that_and_not_as_a_nearer_variation():
    raised = line([pitch + 5 for pitch in PITCHES], LENGTHS)
    related = take(FIRST, SECOND, raised, THIRD, FIRST).related()
    assert (related[2].to_phrase, related[2].transposed) == (0, 5)
    assert (related[4].to_phrase, related[4].transposed) == (0, 0)


def test_a_take_of_other_tuning_has_the_same_relations():
    built = take(FIRST, SECOND, THIRD, VARIATIONS["up a fourth"][0])
    flat = [type(note)(note.onset_s, note.offset_s, note.pitch_midi - 0.45, -12.0) for note in built.notes]
    assert type(built)(flat, built.phrases).as_heard(cents=20).related()[3].transposed == 5


def test_a_phrase_without_end_is_compared_by_its_start():
    drawn = random.Random(8)
    lengths = [drawn.choice([0.25, 0.5, 1]) for _ in range(3000)]
    endless = line([drawn.randint(50, 80) for _ in lengths], lengths)
    relation = take(endless, endless[:250], starts=[0, 3000]).related()[1]
    assert (relation.to_phrase, relation.transposed) == (0, 0)


def test_a_take_without_phrases_has_no_relations():
    assert take().related() == ()
