"""Takes in order of variety, with what the order is worth."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from batch.catalogue import Entry

BY_SCORE = "variety"


@dataclass(frozen=True, slots=True)
class Ranked:
    """A take and the places it may hold: takes whose ranges overlap are not told apart."""

    entry: Entry
    value: float | None
    best_place: int
    worst_place: int


def rank(entries: Sequence[Entry], *, by: str = BY_SCORE) -> list[Ranked]:
    """Sort takes, most varied first, by their score or by one of its parts; those without one last.

    By the score, the best place counts the takes that lie wholly above a take's range, the
    worst those that lie wholly below. Parts carry no range, so there equal values share.
    """
    scored = [(value, entry) for entry in entries if (value := _value(entry, by)) is not None]
    scored.sort(key=lambda pair: (-pair[0], pair[1].path))
    ranges = [_range(value, entry, by) for value, entry in scored]
    lows, highs = sorted(low for low, _ in ranges), sorted(high for _, high in ranges)
    ranked = [
        Ranked(entry, value, 1 + len(lows) - bisect_right(lows, high), len(highs) - bisect_left(highs, low))
        for (value, entry), (low, high) in zip(scored, ranges, strict=True)
    ]
    unscored = [entry for entry in entries if _value(entry, by) is None]
    last = len(entries)
    return ranked + [Ranked(entry, None, len(scored) + 1, last) for entry in unscored]


def _value(entry: Entry, by: str) -> float | None:
    return entry.score if by == BY_SCORE else (entry.parts or {}).get(by)


def _range(value: float, entry: Entry, by: str) -> tuple[float, float]:
    if by != BY_SCORE or entry.low is None or entry.high is None:
        return value, value
    return entry.low, entry.high
