"""Takes in order of variety, with what the order is worth."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from heapq import nsmallest

from batch.entry import Entry, Scored

BY_SCORE = "variety"


@dataclass(frozen=True, slots=True)
class Place:
    """The places a take may hold: takes whose ranges overlap are not told apart. ``file`` is its key."""

    file: str
    value: float | None
    best: int
    worst: int

    def __str__(self) -> str:
        """Return the places in words: ``2``, ``3-5``, a dash for a take without a value."""
        if self.value is None:
            return "-"
        return str(self.best) if self.best == self.worst else f"{self.best}-{self.worst}"


@dataclass(frozen=True, slots=True)
class Ranked:
    """A take and its place."""

    entry: Entry
    place: Place


def rank(takes: Sequence[Scored], first: int | None = None) -> list[Place]:
    """Sort takes, highest value first; those without one last. Return all, or the ``first`` of them.

    The best place counts the takes that lie wholly above a take's range, the worst those that lie
    wholly below. Without a range the value is its own, so equal values share.
    """
    scored = [
        (-value, file, value if low is None else low, value if high is None else high)
        for file, value, low, high in takes
        if value is not None
    ]
    lows, highs = sorted([low for _, _, low, _ in scored]), sorted([high for *_, high in scored])
    best = sorted(scored) if first is None else nsmallest(first, scored)
    ranked = [
        Place(file, -value, 1 + len(lows) - bisect_right(lows, high), len(highs) - bisect_left(highs, low))
        for value, file, low, high in best
    ]
    unscored = [take.file for take in takes if take.value is None]
    places = (Place(file, None, len(scored) + 1, len(takes)) for file in unscored)
    return ranked + list(places)[: None if first is None else first - len(ranked)]
