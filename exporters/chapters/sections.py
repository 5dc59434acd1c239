"""Consecutive phrases as sections of similar length, cut at long rests, and named by what most are."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import accumulate, pairwise

from batch.model import Groove, Labels
from batch.settings import LabelName
from exporters.base import LONGEST, UNSAID
from exporters.chapters.chapter import Phrased

_PHRASES_A_SECTION = 4
"""On average, where ``most`` leaves so many sections: as a tune's period has (our choice)."""

_SHARED_FROM = 2 / 3
"""Of a section's phrases, for their label to be the section's (our choice)."""

_MIXED = "mixed"
_AGAINST = "against"
"""A section's numbers are longer than a phrase's, so the longest label is said short."""


def sections_of(phrases: Sequence[Phrased], most: int) -> list[range]:
    """Return which phrases each section holds, at most ``most`` sections.

    The time is parted evenly, and each cut is drawn to the rest that is longest around its even place: a rest
    counts in full there and the less the farther it lies, down to nothing halfway to the next. So every rest
    has its say at one cut, and one pass finds them all.
    """
    count = min(most, max(1, len(phrases) // _PHRASES_A_SECTION))
    first_s = phrases[0].start_s
    even_s = (max(phrase.end_s for phrase in phrases) - first_s) / count
    best: dict[int, tuple[float, float, int]] = {}
    for index, rest_s in enumerate(_rests(phrases), start=1):
        place = (phrases[index].start_s - first_s) / even_s
        nearness = 1 - 2 * abs(place - round(place))
        if 0 < round(place) < count:
            best[round(place)] = max(
                best.get(round(place), (-1.0, 0.0, 0)), (rest_s * nearness, nearness, index)
            )
    cuts = sorted(index for _, _, index in best.values())
    return [range(a, b) for a, b in pairwise([0, *cuts, len(phrases)])]


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
