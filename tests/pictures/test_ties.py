"""Brackets beside a ranking join neighbours that are not told apart."""

from itertools import combinations, pairwise
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from batch.entry import Entry, State
from batch.ties import MOST_LANES, Tie, runs, ties_of

RANGES = st.lists(
    st.one_of(
        st.none(), st.tuples(st.integers(0, 60), st.integers(0, 20)).map(lambda r: (r[0], r[0] + r[1]))
    ),
    max_size=14,
)


def entries(ranges):
    return [
        Entry(Path(f"{i}.wav"), State.DONE, low=each and each[0], high=each and each[1])
        for i, each in enumerate(ranges)
    ]


def all_overlap(ranges):
    if None in ranges:
        return False
    return all(a[0] <= b[1] and b[0] <= a[1] for a, b in combinations(ranges, 2))


def test_neighbours_are_joined_and_a_chain_takes_two_brackets():
    # 1 and 2 overlap, 2 and 3 overlap, 1 and 3 do not; 4 stands alone.
    ranges = [(70, 80), (60, 72), (50, 61), (1, 2)]
    assert ties_of(entries(ranges)) == [Tie(0, 1, 0), Tie(1, 2, 1)]


def test_brackets_apart_share_a_lane():
    ranges = [(70, 80), (69, 71), (40, 50), (39, 41)]
    assert ties_of(entries(ranges)) == [Tie(0, 1, 0), Tie(2, 3, 0)]


def test_ranges_that_touch_are_not_told_apart():
    # As in the ranking: a place counts those that lie wholly above.
    assert runs([(50, 60), (40, 50)]) == [(0, 1)]


def test_too_many_brackets_side_by_side_are_left_out():
    ladder = [(100 - 2 * i, 110 - 2 * i) for i in range(12)]
    assert len(runs(ladder)) > MOST_LANES
    assert ties_of(entries(ladder)) == []


@given(RANGES)
def test_runs_are_what_a_look_at_all_of_them_finds(ranges):
    every = [
        (a, b)
        for a in range(len(ranges))
        for b in range(a + 1, len(ranges))
        if all_overlap(ranges[a : b + 1])
    ]
    longest = [run for run in every if not any(o != run and o[0] <= run[0] and run[1] <= o[1] for o in every)]
    assert runs(ranges) == longest


@given(RANGES)
def test_brackets_in_a_lane_do_not_touch(ranges):
    ties = ties_of(entries(ranges))
    for lane in range(MOST_LANES):
        assert all(a.last < b.first for a, b in pairwise(tie for tie in ties if tie.lane == lane))
