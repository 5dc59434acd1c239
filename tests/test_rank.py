"""The order of takes: places worked by hand from ranges, and what must hold for any ranges."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ranking import ranked

from batch.entry import Entry, State


def entry(
    name: str,
    score: float | None = None,
    low: float | None = None,
    high: float | None = None,
    **parts: float | None,
) -> Entry:
    return Entry(Path("/gig") / name, State.DONE, score=score, low=low, high=high, parts=parts or None)


def places(*entries: Entry, by: str = "variety") -> list[tuple[str, int, int]]:
    return [(r.entry.path.name, r.place.best, r.place.worst) for r in ranked(entries, by=by)]


def test_takes_told_apart_have_a_place_each():
    assert places(entry("b", 50, 45, 55), entry("a", 80, 70, 90), entry("c", 20, 10, 30)) == [
        ("a", 1, 1),
        ("b", 2, 2),
        ("c", 3, 3),
    ]


def test_takes_whose_ranges_overlap_share_places():
    # a 60..90 overlaps b 40..70 (60..70), b overlaps c 30..45 (40..45); a and c do not touch; d is apart.
    # a: none above; only c and d below -> 1 to 2. b: none above, d below -> 1 to 3.
    # c: a above, d below -> 2 to 3. d: all above -> 4.
    found = places(
        entry("d", 10, 5, 20), entry("c", 40, 30, 45), entry("a", 75, 60, 90), entry("b", 55, 40, 70)
    )
    assert found == [("a", 1, 2), ("b", 1, 3), ("c", 2, 3), ("d", 4, 4)]


def test_ranges_that_touch_overlap():
    assert places(entry("a", 80, 70, 90), entry("b", 60, 50, 70)) == [("a", 1, 2), ("b", 1, 2)]


def test_takes_without_a_score_come_last_and_share_the_places_there():
    found = ranked([entry("x"), entry("a", 50, 40, 60), entry("y"), entry("b", 10, 5, 15)])
    assert [(r.entry.path.name, r.place.value, r.place.best, r.place.worst) for r in found] == [
        ("a", 50, 1, 1),
        ("b", 10, 2, 2),
        ("x", None, 3, 4),
        ("y", None, 3, 4),
    ]


def test_equal_scores_stand_by_name():
    assert [name for name, *_ in places(entry("b", 50), entry("a", 50), entry("c", 60))] == ["c", "a", "b"]


def test_a_score_without_a_range_is_its_own_range():
    assert places(entry("a", 50), entry("b", 40, 30, 60), entry("c", 20)) == [
        ("a", 1, 2),
        ("b", 1, 2),
        ("c", 3, 3),
    ]


def test_by_a_part_the_part_decides_and_only_equals_share():
    takes = [
        entry("a", 90, 0, 100, length=0.2),
        entry("b", 10, 0, 100, length=0.8),
        entry("c", 50, 0, 100, length=0.2),
        entry("d", 50, 0, 100, length=None),
        entry("e", 50, 0, 100),
    ]
    assert places(*takes, by="length") == [
        ("b", 1, 1),
        ("a", 2, 3),
        ("c", 2, 3),
        ("d", 4, 5),
        ("e", 4, 5),
    ]


def test_no_takes_have_no_order():
    assert ranked([]) == []


@st.composite
def entries(draw: st.DrawFn) -> list[Entry]:
    """Takes with ranges around their scores, some without a score."""
    tens = st.integers(0, 10).map(lambda n: 10.0 * n)
    scores = st.none() | st.lists(tens, min_size=3, max_size=3).map(sorted)
    found = []
    for i in range(draw(st.integers(1, 12))):
        low, score, high = draw(scores) or (None, None, None)
        found.append(entry(f"{i:02}", score, low, high))
    return found


@given(entries())
def test_places_enclose_the_position_and_count_those_apart(takes):
    found = ranked(takes)
    assert {r.entry.path for r in found} == {take.path for take in takes}
    for position, r in enumerate(found, start=1):
        assert 1 <= r.place.best <= position <= r.place.worst <= len(takes)
        if r.place.value is not None:
            others = [o.entry for o in found if o.place.value is not None]
            assert r.place.best == 1 + sum(o.low > r.entry.high for o in others)
            assert r.place.worst == len(others) - sum(o.high < r.entry.low for o in others)


@given(entries(), st.randoms())
def test_the_order_does_not_depend_on_the_order_found(takes, chance):
    scored = [take for take in takes if take.score is not None]
    assert ranked(chance.sample(scored, len(scored))) == ranked(scored)


@given(entries())
def test_a_take_wholly_above_another_has_the_better_places(takes):
    found = [r for r in ranked(takes) if r.place.value is not None]
    for upper in found:
        for lower in found:
            if upper.entry.low > lower.entry.high:
                assert upper.place.best < lower.place.best
                assert upper.place.worst < lower.place.worst


@pytest.mark.parametrize("by", ["variety", "length"])
def test_a_take_alone_has_the_first_place(by):
    assert places(entry("a", 5, 0, 9, length=0.5), by=by) == [("a", 1, 1)]
