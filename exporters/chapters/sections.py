"""Consecutive phrases as sections of similar length, cut at long rests, and named by what most are."""

from collections import Counter
from collections.abc import Iterator, Sequence
from heapq import heapify, heappop, heapreplace
from itertools import accumulate, pairwise
from math import ceil, floor

from batch.model import Groove, Labels
from batch.settings import LabelName
from exporters.base import LONGEST, UNSAID
from exporters.chapters.chapter import Phrased

_PHRASES_A_SECTION = 4
"""On average, where ``most`` leaves so many sections: as a tune's period has (our choice)."""
_MUCH_LONGER, _SHORT_REST_S = 4, 0.5
"""Times the longest other rest, for a rest to part a take; and what that counts at least (our choice)."""
_PHRASES_A_LONG_REST = 3
"""On average at least, or such rests are no breaks but the way it is played (our choice)."""
_LONG_SECTION = 12
"""Phrases of one between long rests from which it is cut again, if there may be more (our choice)."""
_MOVED = 1 / 3
"""Of a section's length, how far a cut goes for a longer rest: at the end of that way a rest counts two
thirds (our choice)."""

_SHARED_FROM = 2 / 3
"""Of a section's phrases, for their label to be the section's (our choice)."""

_MIXED = "mixed"
_AGAINST = "against"
"""A section's numbers are longer than a phrase's, so the longest label is said short."""


def sections_of(phrases: Sequence[Phrased], most: int) -> list[range]:
    """Return which phrases each section holds, at most ``most`` sections.

    Rests that are much longer than all others part the take, if they are few enough. What lies between them
    stays whole unless it is long; that is parted evenly, as is a take without such rests, each cut at the
    rest that is longest around its even place.
    """
    rests_s = [0.0, *_rests(phrases)]
    parts = _between(_long_rests(rests_s, most), len(phrases))
    if len(parts) == 1:
        pieces = [min(most, max(1, len(phrases) // _PHRASES_A_SECTION))]
    else:
        pieces = _pieces(parts, most)
    return [
        piece for part, count in zip(parts, pieces, strict=True) for piece in _parted(part, count, rests_s)
    ]


def _between(cuts: Sequence[int], end: int) -> list[range]:
    return [range(a, b) for a, b in pairwise([0, *cuts, end])]


def _long_rests(rests_s: Sequence[float], most: int) -> list[int]:
    """Return the phrases in front of which a rest lies that is much longer than all that are not returned."""
    longest = sorted(range(1, len(rests_s)), key=lambda index: (-rests_s[index], index))
    fewest_shorter = min(most, len(rests_s) // _PHRASES_A_LONG_REST + 1, len(longest))
    for count in range(fewest_shorter - 1, 0, -1):
        shorter_s = max(rests_s[longest[count]], _SHORT_REST_S)
        if rests_s[longest[count - 1]] >= _MUCH_LONGER * shorter_s:
            return sorted(longest[:count])
    return []


def _pieces(parts: Sequence[range], most: int) -> list[int]:
    """Return in how many pieces to cut each part: the longest first, until none is long or ``most`` are."""
    pieces = [1] * len(parts)
    queue = [(-float(len(part)), at) for at, part in enumerate(parts) if len(part) > _LONG_SECTION]
    heapify(queue)
    for _ in range(most - len(parts)):
        if not queue:
            break
        at = queue[0][1]
        pieces[at] += 1
        length = len(parts[at]) / pieces[at]
        if length > _LONG_SECTION:
            heapreplace(queue, (-length, at))
        else:
            heappop(queue)
    return pieces


def _parted(part: range, count: int, rests_s: Sequence[float]) -> list[range]:
    """Part phrases evenly, so that each cut moves by a third of a section at most, to a longer rest."""
    length = len(part) / count
    cuts = []
    for number in range(1, count):
        place = part.start + number * length
        around = range(ceil(place - length * _MOVED), floor(place + length * _MOVED) + 1)
        weighed = [(rests_s[at] * (1 - abs(at - place) / length), -abs(at - place), at) for at in around]
        cuts.append(max(weighed)[2])
    return [range(a, b) for a, b in pairwise([part.start, *cuts, part.stop])]


def _rests(phrases: Sequence[Phrased]) -> Iterator[float]:
    """Yield the silence in front of each phrase after the first, in seconds."""
    sounding_until_s = accumulate((phrase.end_s for phrase in phrases), max)
    for until_s, phrase in zip(sounding_until_s, phrases[1:], strict=False):
        yield max(0.0, phrase.start_s - until_s)


def section_title(phrases: Sequence[Phrased], section: range, asked: Sequence[LabelName]) -> str:
    """Return a section's phrases and what most of them are, ``07-12 long dense against``.

    A label is said that two thirds share; where none is, the phrases are mixed. In LONGEST characters,
    printable ASCII, unique in a take, and sorting as the sections lie.
    """
    width = max(2, len(str(len(phrases))))
    numbers = f"{section.start + 1:0{width}}-{section.stop:0{width}}"
    labels = [phrases[index].labels for index in section]
    words = [word for name in asked if (word := _shared(labels, name))] or [_MIXED]
    while len(" ".join([numbers, *words])) > LONGEST:
        words.pop()
    return " ".join([numbers, *words])


def _shared(labels: Sequence[Labels], name: LabelName) -> str | None:
    value, count = Counter(getattr(each, name) for each in labels).most_common(1)[0]
    if value in UNSAID or count < _SHARED_FROM * len(labels):
        return None
    return _AGAINST if value is Groove.AGAINST_GROOVE else str(value.value)
