"""A take in a few lines of text: blocks as high as a phrase is dense, on a line of time."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil

from batch.height import height_share
from batch.model import Groove, LabelledPhrase
from batch.outline import density_of
from batch.words import clock

MOST_STRIPS = 4
"""Beyond that a column is more time, so that hours still fit a screen (our choice)."""
COLUMN_S = 0.5
"""Time of a column where there is room: the quarter of short phrases last 1.4 s and less."""
_SIGNS = {Groove.IN_GROOVE: "in it", Groove.AGAINST_GROOVE: "against it", Groove.UNMEASURED: "unmeasured"}
_TICKS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 18000, 36000)
_TICKS_APART = 3
"""Columns left between two times of the ruler."""


@dataclass(frozen=True, slots=True)
class Marks:
    """What is drawn with: eight heights, and a sign for each groove."""

    heights: str
    against: str
    in_groove: str
    unmeasured: str

    def groove(self, groove: Groove) -> str:
        """Return the sign of a groove."""
        if groove is Groove.UNMEASURED:
            return self.unmeasured
        return self.against if groove is Groove.AGAINST_GROOVE else self.in_groove


DRAWN = Marks("▁▂▃▄▅▆▇█", "╱", "─", "·")
PLAIN = Marks(".:-=+*#@", "/", "-", ".")
"""In ASCII, from little ink to much."""


@dataclass(frozen=True, slots=True)
class Strip:
    """A stretch of a take: which phrase each column shows, and the lines of text."""

    shown: tuple[int | None, ...]
    blocks: str
    grooves: str
    numbers: str
    ruler: str


def strips_of(
    phrases: Sequence[LabelledPhrase], duration_s: float, width: int, marks: Marks, *, in_beats: bool
) -> list[Strip]:
    """Return a take's phrases (in order) as strips of ``width`` columns at most."""
    length_s = max([duration_s, 1.0, *(phrase.end_s for phrase in phrases[-1:])])
    count = min(max(ceil(length_s / (width * COLUMN_S)), 1), MOST_STRIPS)
    column_s = max(length_s / (width * count), COLUMN_S / 2)
    columns = _columns(phrases, ceil(length_s / column_s - 1e-9), column_s)
    heights = [_height(phrase, marks, in_beats=in_beats) for phrase in phrases]
    grooves = [marks.groove(phrase.labels.groove) for phrase in phrases]
    strips = []
    for first in range(0, len(columns), width):
        shown = tuple(columns[first : first + width])
        strips.append(
            Strip(
                shown,
                "".join(" " if i is None else heights[i] for i in shown),
                "".join(" " if i is None else grooves[i] for i in shown),
                _numbers(shown, columns[first - 1] if first else None, width),
                _ruler(first, len(shown), column_s),
            )
        )
    return strips


def legends(marks: Marks, grooves: Collection[Groove], *, in_beats: bool) -> Iterator[str]:
    """Yield what the signs mean, the fullest first; only of those grooves that are there."""
    signs = ", ".join(
        f"{marks.groove(groove)} {word}" for groove, word in _SIGNS.items() if groove in grooves
    )
    yield f"height: notes a {'beat' if in_beats else 'second'}; groove: {signs}"
    yield f"{marks.heights[0]}{marks.heights[-1]} density; {signs}"
    yield signs


def _columns(phrases: Sequence[LabelledPhrase], count: int, column_s: float) -> list[int | None]:
    """Return which phrase each column shows: where two meet in one, the later.

    A column is left between phrases that would touch, where the first has one to spare.
    """
    columns: list[int | None] = [None] * count
    starts = [min(max(int(phrase.start_s / column_s), 0), count - 1) for phrase in phrases]
    for i, (phrase, start) in enumerate(zip(phrases, starts, strict=True)):
        stop = min(max(ceil(phrase.end_s / column_s - 1e-9), start + 1), count)
        if i + 1 < len(phrases) and stop >= starts[i + 1] > start + 1:
            stop = starts[i + 1] - 1
        columns[start:stop] = [i] * (stop - start)
    return columns


def _height(phrase: LabelledPhrase, marks: Marks, *, in_beats: bool) -> str:
    share = height_share(density_of(phrase), in_beats=in_beats)
    return marks.heights[max(round(share * len(marks.heights)), 1) - 1]


def _numbers(shown: Sequence[int | None], before: int | None, width: int) -> str:
    """Return the numbers of the phrases that begin here, those that fit."""
    line = ""
    for column, (left, here) in enumerate(pairwise([before, *shown])):
        if here is None or here == left or column < len(line):
            continue
        number = str(here + 1)
        if column + len(number) <= width:
            line = f"{line:<{column}}{number} "
    return line.rstrip()


def _ruler(first: int, count: int, column_s: float) -> str:
    line = ""
    for time_s in _times(first * column_s, (first + count) * column_s, column_s):
        column, text = round(time_s / column_s) - first, clock(time_s)
        if column >= len(line) and column + len(text) <= count:
            line = f"{line:<{column}}{text} "
    return line.rstrip()


def _times(start_s: float, end_s: float, column_s: float) -> Iterator[int]:
    """Yield the times of a ruler, as clocks count."""
    apart_s = (len(clock(end_s)) + _TICKS_APART) * column_s
    step = next((step for step in _TICKS_S if step >= apart_s), None)
    step = step or ceil(apart_s / _TICKS_S[-1]) * _TICKS_S[-1]
    yield from range(-int(-start_s // step) * step, int(end_s) + 1, step)
