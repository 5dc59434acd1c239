"""What to practise next: what was left out is found, chance is not, and thin data says nothing."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from trending import USUAL, drawn, sighting

from batch.model import Density, Groove, Labels
from batch.settings import TrendSettings
from batch.trend.advice import found_words, listen_words, practice_lines, try_words
from batch.trend.practice import ERROR_RATE, MOST, Place, Practice, Why, what_to_practise
from batch.trend.rows import Sighting
from batch.trend.tally import LABELS
from batch.trend.usual import usual_shares

LIMITS = TrendSettings()
JUDGEMENTS = {"good", "bad", "better", "worse", "should", "must", "wrong", "fail", "weak", "poor", "only"}


def takes_of(
    seed: int, count: int = 10, phrases: int = 12, shares: Mapping[str, float] = USUAL, **other: float
) -> list[Sighting]:
    """Return takes that do everything as often as soloists do, but for what is said."""
    chance = np.random.default_rng(seed)
    return [sighting(i, drawn(chance, phrases, {**shares, **other})) for i in range(count)]


def suggested(takes: list[Sighting], **more: object) -> Practice:
    return what_to_practise(takes, settings=LIMITS, **more)


@pytest.mark.parametrize("label", ["long", "dense", "against-groove", "low", "high", "leaps", "varies"])
def test_what_the_last_takes_never_do_is_suggested_first(label):
    found = suggested(takes_of(1, shares=USUAL | {label: 0.0}))
    assert found.suggestions[0].label == label
    assert found.suggestions[0].count == 0
    assert found.why_none is None


@pytest.mark.parametrize(("always", "missing"), [("long", "short"), ("dense", "sparse"), ("leaps", "steps")])
def test_what_they_always_do_is_suggested_as_what_is_missing(always, missing):
    first = suggested(takes_of(2, **{always: 1.0})).suggestions[0]
    assert (first.label, first.count) == (missing, 0)


def test_what_they_nearly_always_do_is_suggested_too():
    takes = takes_of(3, dense=1.0)
    phrases = list(takes[5].phrases)
    phrases[4] = replace(phrases[4], labels=replace(phrases[4].labels, density=Density.SPARSE))
    takes[5] = replace(takes[5], phrases=tuple(phrases))
    first = suggested(takes).suggestions[0]
    assert (first.label, first.count, first.measured) == ("sparse", 1, 120)
    assert found_words(first) == "Nearly every phrase in the last 10 takes (119 of 120 phrases) is dense."
    there = [place for place in first.listen if place.why is Why.THERE]
    assert [(place.title, place.start_s) for place in there] == [("take 5", phrases[4].start_s)]


def test_takes_that_play_as_soloists_do_are_nearly_never_told_anything():
    # The stated rate is one set in twenty; of 400, 20 are expected at most, and more than 37 (four standard
    # deviations of a binomial) would be no accident.
    told = [suggested(takes_of(seed)).suggestions for seed in range(400)]
    assert sum(map(bool, told)) <= 37
    assert ERROR_RATE == 0.05


def test_takes_each_of_a_piece_are_nearly_never_told_anything():
    # Each take has shares of its own, as solos have: Beta with the clustering that was measured.
    chance, told = np.random.default_rng(4), 0
    usual = usual_shares()
    for _ in range(300):
        takes = []
        for i in range(6):
            shares = {
                label: chance.beta(
                    usual[label].share * (1 / usual[label].clustering - 1),
                    (1 - usual[label].share) * (1 / usual[label].clustering - 1),
                )
                for label in USUAL.keys() - {"answers"}
            } | {"answers": USUAL["answers"]}
            takes.append(sighting(i, drawn(chance, 12, shares)))
        told += bool(suggested(takes).suggestions)
    assert told <= 30  # 15 expected at most; and fifteen more is four standard deviations


@pytest.mark.parametrize(("count", "phrases"), [(1, 40), (3, 30), (4, 7), (12, 2)])
def test_where_the_data_is_thin_nothing_is_suggested(count, phrases):
    found = suggested(takes_of(5, count, phrases, long=0.0, low=0.0, dense=0.0))
    assert found.suggestions == ()
    assert "too little to suggest anything" in found.why_none
    assert practice_lines(found) == [(f"{found.why_none[0].upper()}{found.why_none[1:]}.", None)]


def test_only_the_last_takes_count():
    early, late = takes_of(6, low=0.0), takes_of(7)
    assert suggested([*early, *late]).suggestions == ()
    assert suggested([*late, *early]).suggestions[0].label == "low"


def test_three_suggestions_are_the_most_and_one_a_dimension():
    found = suggested(takes_of(8, long=0.0, dense=0.0, low=0.0, high=0.0, leaps=0.0))
    assert len(found.suggestions) == MOST == 3
    assert len({each.dimension for each in found.suggestions}) == 3
    chances = [each.chance for each in found.suggestions]
    assert chances == sorted(chances)


def test_what_is_unmeasured_is_never_missed():
    takes = [
        replace(
            take,
            phrases=tuple(
                replace(p, labels=replace(p.labels, groove=Groove.UNMEASURED), range_place=None, tension=None)
                for p in take.phrases
            ),
        )
        for take in takes_of(9, low=0.0)
    ]
    assert suggested(takes).suggestions == ()


def unmeasured(take: Sighting) -> Sighting:
    phrases = [
        replace(p, labels=replace(p.labels, groove=Groove.UNMEASURED), tension=None) for p in take.phrases
    ]
    return replace(take, phrases=tuple(phrases))


@pytest.mark.parametrize(("told", "suggests"), [(2, 0), (8, 1)])
def test_what_few_takes_tell_of_is_thin_however_many_there_are(told, suggests):
    takes = takes_of(19, phrases=20, shares=USUAL | {"against-groove": 0.0})
    takes = [take if i < told else unmeasured(take) for i, take in enumerate(takes)]
    found = suggested(takes).suggestions
    assert len(found) == suggests
    if found:
        expected = "in those of the last 10 takes that tell (160 phrases): every phrase sits in it."
        assert found_words(found[0]).endswith(expected)


def test_labels_drawn_by_other_lines_are_not_compared():
    takes = takes_of(10, low=0.0)
    assert suggested(takes).suggestions[0].label == "low"
    assert suggested(takes, unlike=frozenset({"register"})).suggestions == ()


def test_many_questions_at_once_ask_for_more_certainty():
    takes = takes_of(11, count=5, phrases=10, low=0.0)
    one = suggested(takes)
    assert one.suggestions[0].label == "low"
    assert suggested(takes, among=10_000).suggestions == ()


def test_what_comes_nearest_is_to_be_heard_first():
    takes = takes_of(12, low=0.0)
    places = [(phrase.range_place, take.title, phrase.start_s) for take in takes for phrase in take.phrases]
    lowest = min(places)
    found = suggested(takes).suggestions[0]
    assert (found.listen[0].title, found.listen[0].start_s) == lowest[1:]
    assert {place.why for place in found.listen} == {Why.NEAREST}
    assert len({place.title for place in found.listen}) == 3


def test_what_always_is_and_what_comes_nearest_to_the_other_are_both_heard():
    takes = takes_of(13, dense=1.0)
    phrases = list(takes[2].phrases)
    phrases[1] = replace(phrases[1], density=9.0)
    phrases[5] = replace(phrases[5], density=2.0)
    takes[2] = replace(takes[2], phrases=tuple(phrases))
    takes[7] = replace(takes[7], phrases=(replace(takes[7].phrases[0], density=2.1), *takes[7].phrases[1:]))
    listen = suggested(takes).suggestions[0].listen
    assert [(place.title, place.why) for place in listen[:2]] == [
        ("take 2", Why.TYPICAL),
        ("take 7", Why.NEAREST),
    ]
    assert listen[0].start_s == phrases[1].start_s


def test_what_is_most_alike_comes_nearest_to_taking_up_a_phrase():
    takes = takes_of(20, varies=0.0)
    assert {place.why for place in suggested(takes).suggestions[0].listen} == {Why.TYPICAL}
    phrases = list(takes[4].phrases)
    phrases[6] = replace(phrases[6], similarity=0.7)
    takes[4] = replace(takes[4], phrases=tuple(phrases))
    first = suggested(takes).suggestions[0].listen[0]
    assert (first.title, first.start_s, first.why) == ("take 4", phrases[6].start_s, Why.NEAREST)


def test_ties_are_settled_by_file_and_time():
    takes = takes_of(14, low=0.0)
    level = [replace(t, phrases=tuple(replace(p, range_place=0.5) for p in t.phrases)) for t in takes]
    listen = suggested(level).suggestions[0].listen
    assert [place.file for place in listen] == ["take-0.wav", "take-1.wav", "take-2.wav"]
    assert {place.start_s for place in listen} == {0.0}


def test_takes_in_seconds_are_compared_with_takes_in_beats_by_the_lines_between_labels():
    takes = takes_of(15, long=0.0)
    # 2 s are 0.8 of the line at 2.5 s; the others' 3 beats are 0.46 of the line at 6.5.
    slow = [replace(p, length=2.0) for p in takes[3].phrases]
    takes[3] = replace(takes[3], phrases=tuple(slow), in_beats=False)
    listen = suggested(takes).suggestions[0].listen
    assert "take 3" in [place.title for place in listen if place.why is Why.NEAREST]


def test_a_suggestion_says_what_how_many_what_to_try_and_where_to_listen():
    found = suggested(takes_of(16, low=0.0))
    ((told, listen),) = practice_lines(found)
    assert told == (
        "Nothing low in the last 10 takes (120 phrases)."
        " Start a chorus in the bottom third of what you use in a take, and stay there for eight bars."
    )
    assert listen.startswith("Listen first: take ")
    assert listen.endswith(" (come nearest).")


def test_every_label_that_can_be_missing_has_words_that_judge_nobody():
    example = suggested(takes_of(17, low=0.0)).suggestions[0]
    labels = [
        label for each in LABELS.values() for label in each if label not in {"middle", "new", "answers"}
    ]
    for label in labels:
        for count in (0, 2):
            each = replace(example, label=label, count=count)
            words = f"{found_words(each)} {try_words(each)} {listen_words(each.listen)}".lower()
            assert not {"good", "bad", "better", "should", "must", "wrong", "fail", "weak"} & set(
                words.split()
            )
            assert "10 takes" in words
            assert "120 phrases" in words
            assert "{" not in words


def test_a_hostile_title_does_no_harm():
    takes = [replace(take, title=f"\x1b[31m{take.title}\n") for take in takes_of(18, low=0.0)]
    (_, listen) = practice_lines(suggested(takes))[0]
    assert listen.isprintable()


def test_labels_word_their_own_dimension():
    assert Labels.__dataclass_fields__.keys() <= LABELS.keys()


def test_nobody_is_sent_past_the_start_of_a_phrase():
    place = Place("take 1", "take-1.wav", 41.9, Why.NEAREST)
    assert listen_words([place]) == "take 1 at 0:41 (comes nearest)"


@pytest.mark.parametrize(
    ("label", "never", "seldom"),
    [
        (
            "staccato",
            "Nothing staccato in the last 10 takes (120 phrases): every phrase is legato.",
            "Nearly every phrase in the last 10 takes (118 of 120 phrases) is legato.",
        ),
        (
            "leaps",
            "No leaps in the last 10 takes (120 phrases).",
            "Nearly every phrase in the last 10 takes (118 of 120 phrases) moves by steps.",
        ),
        (
            "low",
            "Nothing low in the last 10 takes (120 phrases).",
            "Hardly anything low in the last 10 takes (2 of 120 phrases).",
        ),
    ],
)
def test_where_and_how_many_stand_within_the_sentence(label, never, seldom):
    example = suggested(takes_of(17, low=0.0)).suggestions[0]
    assert found_words(replace(example, label=label, count=0)) == never
    assert found_words(replace(example, label=label, count=2)) == seldom
