"""A take's variety as a range on 0 to 100, with its numbers."""

from collections.abc import Iterator

from batch.entry import Entry
from exporters.pictures.svg import PLAIN, RIGHT, SMALL, cut, path, short, words

SCORES, LENGTH = 650.0, 100.0
"""Where 0 is, in points, and from there to 100."""
_NUMBERS = SCORES + LENGTH + 8
_TALL = 5.0


def score_head(y: float) -> Iterator[str]:
    """Yield the head of the scale."""
    yield words(SCORES, y, "0", size=SMALL, kind="faint")
    yield words(SCORES + 32, y, "variety", size=SMALL, kind="faint")
    yield words(SCORES + LENGTH, y, "100", size=SMALL, kind="faint", end=True)


def score(entry: Entry, y: float) -> Iterator[str]:
    """Yield a take's scale at ``y``: its range as a bar, its score as a line across, both as numbers.

    Or why there is no score.
    """
    if entry.score is None:
        why = cut(f"no score: {entry.why_null}", RIGHT - SCORES, SMALL)
        yield words(SCORES, y + SMALL / 2, why, size=SMALL, kind="faint")
        return
    low = entry.score if entry.low is None else entry.low
    high = entry.score if entry.high is None else entry.high
    yield path("hair", f"M{short(SCORES)} {short(y)}H{short(SCORES + LENGTH)}")
    x0, x1, x = (SCORES + LENGTH * min(max(value, 0.0), 100.0) / 100 for value in (low, high, entry.score))
    yield path("range", f"M{short(x0)} {short(y)}H{short(x1)}")
    yield path("mark", f"M{short(x)} {short(y - _TALL)}V{short(y + _TALL)}")
    yield words(_NUMBERS, y, f"{entry.score:.0f}", size=PLAIN, kind="strong")
    yield words(_NUMBERS, y + PLAIN + 1, f"{low:.0f} to {high:.0f}", size=SMALL, kind="faint")
