"""Which neighbours in a ranking are not told apart, as brackets beside it."""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass

from batch.entry import Entry

MOST_LANES = 3
"""Brackets side by side; more of them join nothing for the eye (our choice)."""


@dataclass(frozen=True, slots=True)
class Tie:
    """Rows ``first`` to ``last`` (inclusive), of which no two are told apart, and the lane of its bracket."""

    first: int
    last: int
    lane: int


def ties_of(entries: Sequence[Entry]) -> list[Tie]:
    """Return the brackets of takes in their order; none where too many would run side by side.

    They join the longest runs of neighbours whose ranges all overlap, as a diagram of critical
    differences does (Demšar 2006, Journal of Machine Learning Research 7, 1-30).
    """
    ranges = [None if e.low is None or e.high is None else (e.low, e.high) for e in entries]
    free: list[int] = []
    ties = []
    for first, last in runs(ranges):
        lane = next((lane for lane, row in enumerate(free) if row < first), len(free))
        free[lane : lane + 1] = [last]
        ties.append(Tie(first, last, lane))
    return ties if len(free) <= MOST_LANES else []


def runs(ranges: Sequence[tuple[float, float] | None]) -> list[tuple[int, int]]:
    """Return first and last of the longest runs, of two and more, whose ranges all overlap; None has none."""
    found: list[tuple[int, int]] = []
    lows: deque[tuple[int, float]] = deque()  # the highest low of the run, and those that follow it
    highs: deque[tuple[int, float]] = deque()
    first = 0
    for row, each in enumerate([*ranges, None]):
        start = first
        if each is None:
            first = row + 1
        else:
            low, high = each
            while lows and lows[-1][1] <= low:
                lows.pop()
            while highs and highs[-1][1] >= high:
                highs.pop()
            lows.append((row, low))
            highs.append((row, high))
            while lows[0][1] > highs[0][1]:
                first += 1
                _drop(lows, first)
                _drop(highs, first)
        if first > start and row - start > 1 and not (found and found[-1][1] >= row - 1):
            found.append((start, row - 1))
        _drop(lows, first)
        _drop(highs, first)
    return found


def _drop(ends: deque[tuple[int, float]], first: int) -> None:
    while ends and ends[0][0] < first:
        ends.popleft()
