"""Takes over time: rows by hand, ranges against a simulation."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import t as students_t
from trending import START, USUAL, drawn, sighting

from batch.errors import BatchError
from batch.model import Length
from batch.settings import TrendSettings
from batch.trend.periods import Per
from batch.trend.rows import By, Sighting, Trend, followed, level_of, only, spread_of, trend_of

CHANCE = np.random.default_rng(11)
PHRASES = drawn(CHANCE, 8)


def trend(takes: list[Sighting], per: Per = Per.WEEK, by: By | None = None, **settings: int) -> Trend:
    return trend_of(takes, per, by, settings=TrendSettings(**settings))


def test_a_row_adds_up_the_takes_of_its_week():
    # Tuesday of week 36, the Sunday that ends it, the Monday after; weeks 38 and 39 hold nothing.
    days = [START, START + timedelta(days=5), START + timedelta(days=6), START + timedelta(days=29)]
    takes = [sighting(i, PHRASES, at=at, score=10.0 * i) for i, at in enumerate(days)]
    (strand,) = trend(takes).strands
    assert [each.name for each in strand.stretches] == ["2026-W36", "2026-W37", "2026-W40"]
    assert [len(each.takes) for each in strand.stretches] == [2, 1, 1]
    assert [each.phrases for each in strand.stretches] == [16, 8, 8]
    assert [each.duration_s for each in strand.stretches] == [64.0, 32.0, 32.0]
    assert [each.variety.mean for each in strand.stretches] == [5.0, 20.0, 30.0]
    assert strand.stretches[0].parts["length"] == 40.0
    assert strand.stretches[0].parts["register"] is None
    assert strand.stretches[0].connectedness == 30.0


def test_shares_are_of_phrases_not_of_takes():
    long = drawn(CHANCE, 9, dict.fromkeys(USUAL, 0.0) | {"long": 1.0})
    short = [replace(p, labels=replace(p.labels, length=Length.SHORT)) for p in long[:3]]
    takes = [sighting(i, each, at=START) for i, each in enumerate([long, short, short, short])]
    (strand,) = trend(takes).strands
    assert strand.stretches[0].shares["long"] == 9 / 18
    assert strand.stretches[0].shares["dense"] == 0.0


@pytest.mark.parametrize(
    ("count", "why"),
    [
        (0, "no takes yet; a trend needs 4 or more"),
        (1, "1 take is too few for a trend; 4 or more are needed"),
        (3, "3 takes are too few for a trend; 4 or more are needed"),
    ],
)
def test_fewer_than_four_takes_are_no_trend(count, why):
    found = trend([sighting(i, PHRASES) for i in range(count)])
    assert (found.why_null, found.strands) == (why, ())


def test_takes_without_a_phrase_are_none():
    takes = [sighting(i, PHRASES if i else []) for i in range(4)]
    found = trend(takes)
    assert (found.takes, found.silent, found.why_null[:7]) == (3, 1, "3 takes")


def test_how_many_takes_make_a_trend_is_set():
    assert trend([sighting(i, PHRASES) for i in range(2)], takes_from=2).why_null is None


def test_tunes_are_followed_on_their_own_however_they_are_cased():
    tunes = ["Slow Lantern"] * 5 + ["OFF kilter", "Off Kilter", "Off KILTER", "off kilter"] + ["Rare", None]
    takes = [sighting(i, PHRASES, tune=tune) for i, tune in enumerate(tunes)]
    found = trend(takes, by=By.TUNE)
    assert [(strand.name, len(strand.takes)) for strand in found.strands] == [
        ("Slow Lantern", 5),
        ("OFF kilter", 4),
    ]
    assert (found.thin, found.nameless) == (("Rare",), 1)


def test_where_no_tune_has_enough_takes_it_says_so():
    found = trend([sighting(i, PHRASES, tune=f"Tune {i}") for i in range(5)], by=By.TUNE)
    assert found.why_null == "no tune has 4 takes, which a trend needs"
    assert len(found.thin) == 5


def test_one_tune_alone_is_found_by_its_name_and_a_slip_is_answered():
    takes = [sighting(i, PHRASES, tune=tune) for i, tune in enumerate(["Off Kilter", "Rare", None])]
    assert [take.title for take in only(takes, By.TUNE, "off kilter")] == ["take 0"]
    with pytest.raises(BatchError, match="did you mean Off Kilter"):
        only(takes, By.TUNE, "of kilter")


def test_the_spread_is_that_of_neighbours():
    # By hand: the squared steps are 4, 16 and 4, their mean 8, half of it 4.
    assert spread_of([10, 12, 8, 10]) == pytest.approx(2.0)
    assert spread_of([10]) is None


def test_a_slow_change_is_not_taken_for_spread():
    slope = np.linspace(10, 90, 60)
    assert spread_of(list(slope)) < 1
    assert np.std(slope) > 20


def test_fewer_takes_have_a_wider_range():
    widths = [
        level.high - level.low for n in (1, 2, 5) for level in [level_of([50.0] * n, spread=6.0, scored=20)]
    ]
    assert widths == sorted(widths, reverse=True)
    # Student's t with two thirds of 19 degrees of freedom, 80 % in the middle.
    assert widths[0] == pytest.approx(2 * 6.0 * students_t.ppf(0.9, 2 / 3 * 19))


def test_a_range_holds_the_true_mean_as_often_as_it_says():
    chance, held, told = np.random.default_rng(2), 0, 0
    for _ in range(600):
        scores = chance.normal(50, 8, size=12)
        spread = spread_of(list(scores))
        for first in range(0, 12, 3):
            level = level_of(list(scores[first : first + 3]), spread, 12)
            held, told = held + (level.low <= 50 <= level.high), told + 1
    # 80 %, with three standard errors of a share among 2,400 (0.025), doubled since four share a spread.
    assert held / told == pytest.approx(0.8, abs=0.05)


def test_takes_alike_by_accident_are_no_surer_than_their_own_ranges():
    # By hand: ranges of 3 and 4 to either side leave a mean of two 5 / 2.
    level = level_of([50.0, 50.0], 0.0, 4, [3.0, 4.0])
    assert (level.low, level.high) == (47.5, 52.5)


def test_one_score_has_no_range_and_none_no_level():
    assert level_of([50.0], None, 1).low is None
    assert level_of([], 5.0, 4) is None


DAYS_AND_SCORES = st.tuples(st.integers(0, 900), st.sampled_from([None, 0.0, 50.0, 100.0]))


@given(st.lists(DAYS_AND_SCORES, min_size=4), st.sampled_from(Per))
def test_every_take_stands_in_one_row_and_rows_in_order(days, per):
    takes = [
        sighting(i, PHRASES[:3], at=START + timedelta(days=day), score=score)
        for i, (day, score) in enumerate(days)
    ]
    (strand,) = trend(takes, per).strands
    starts = [each.start for each in strand.stretches]
    assert starts == sorted(set(starts))
    assert sorted(take.file for each in strand.stretches for take in each.takes) == sorted(
        take.file for take in takes
    )
    for each in strand.stretches:
        scores = [take.score for take in each.takes if take.score is not None]
        assert (each.variety is None) == (not scores)
        if each.variety and each.variety.low is not None:
            assert 0 <= each.variety.low <= each.variety.mean <= each.variety.high <= 100


def test_takes_of_one_moment_stand_by_their_file():
    at = datetime(2026, 11, 3)
    takes = [sighting(i, PHRASES, at=at) for i in (3, 10, 1, 2, 0)]
    (strand,) = trend(takes).strands
    assert [take.file for take in strand.takes] == [f"take-{i}.wav" for i in (0, 1, 2, 3, 10)]


def test_copies_of_a_take_count_once_for_what_to_practise():
    takes = [replace(sighting(i, PHRASES), content="same" if i < 5 else f"other {i}") for i in range(8)]
    (strand,) = trend(takes).strands
    assert (len(strand.takes), strand.practice.takes) == (8, 4)
    unknown = [replace(take, content=None) for take in takes]
    assert trend(unknown).strands[0].practice.takes == 8


def test_one_tune_alone_is_told_what_it_is_told_among_others():
    chance = np.random.default_rng(11)
    named = [f"Tune {i}" for i in range(6)]
    takes = [
        sighting(5 * i + j, drawn(chance, 7, USUAL | {"low": 0.0}), tune=tune)
        for i, tune in enumerate(named)
        for j in range(5)
    ]
    assert followed([*takes, sighting(99, PHRASES, tune="Rare")], By.TUNE, TrendSettings()) == 6
    told = {strand.name: strand.practice for strand in trend(takes, by=By.TUNE).strands}
    alone = [
        trend_of(only(takes, By.TUNE, name), Per.WEEK, By.TUNE, settings=TrendSettings(), among=6).strands[0]
        for name in named
    ]
    assert [strand.practice for strand in alone] == [told[name] for name in named]
    bare = [trend(only(takes, By.TUNE, name), by=By.TUNE).strands[0].practice for name in named]
    assert bare != [told[name] for name in named]
