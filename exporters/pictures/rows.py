"""A take's time line in rows, as music is broken into lines: between phrases where that can be."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import takewhile

from batch.model import LabelledPhrase

LEAD = 0.02
"""Of a row: what is left free before the phrase that a row is broken for (our choice)."""
SHORTEST = 0.4
"""Of a row: broken for a phrase it must have come this far, else the phrase goes on (our choice)."""
STEPS_S = (10, 15, 20, 30, 45, 60, 90, 120, 180, 240, 300, 450, 600, 900, 1200, 1800, 2700, 3600)
"""Lengths of a row to choose from, as clocks count; beyond the last they double."""


@dataclass(frozen=True, slots=True)
class Row:
    """A stretch of the take. ``skips`` says that it begins after a silence that is not drawn."""

    start_s: float
    end_s: float
    skips: bool = False


def row_lengths(length_s: float) -> Iterator[int]:
    """Yield lengths of a row in seconds, up to one that holds the whole take."""
    step = 0
    for step in STEPS_S:
        yield step
        if step >= length_s:
            return
    while step < length_s:
        step *= 2
        yield step


def length_of(phrases: Sequence[LabelledPhrase], duration_s: float) -> float:
    """Return how long the time line is: to the end of the take, and of its last phrase."""
    return max([duration_s, *(phrase.end_s for phrase in phrases[-1:]), 1.0])


def rows_of(phrases: Sequence[LabelledPhrase], duration_s: float, row_s: float, most: int) -> list[Row]:
    """Return the rows of ``row_s`` seconds at most that hold all phrases (in order); ``most`` of them.

    A silence of a row and more is not drawn.
    """
    rows: list[Row] = []
    start, end = 0.0, length_of(phrases, duration_s)
    coming = list(phrases)[::-1]
    while start < end and len(rows) < most:
        skips = bool(coming) and coming[-1].start_s >= start + row_s
        if skips:
            start = coming[-1].start_s - LEAD * row_s
        stop = _stop(coming, start, row_s, end)
        rows.append(Row(start, stop, skips))
        while coming and coming[-1].end_s <= stop:
            coming.pop()
        if not coming and end - stop >= row_s:
            break
        start = stop
    return rows


def _stop(coming: Sequence[LabelledPhrase], start: float, row_s: float, end: float) -> float:
    """Return where a row ends that begins at ``start``: before a phrase that does not fit, or full."""
    reach = start + row_s
    if reach >= end:
        return end
    begun = list(takewhile(lambda phrase: phrase.start_s < reach, reversed(coming)))
    if not begun or begun[-1].end_s <= reach:
        return reach
    before = begun[-2].end_s if len(begun) > 1 else start
    cut = max(begun[-1].start_s - LEAD * row_s, (before + begun[-1].start_s) / 2)
    return cut if cut >= start + SHORTEST * row_s else reach
