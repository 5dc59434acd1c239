"""What to practise next: what the last takes never did, or always, if that is no accident.

A suggestion is a fact about the takes, and no judgement of them: a player may have every reason to stay
in one place. So each comes with places to hear it, and none is made where chance could be behind it.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Protocol

from batch.outline import PhraseOutline
from batch.settings import LabelSettings, TrendSettings
from batch.trend.tally import LABELS, Tally, words_of
from batch.trend.usual import usual_shares

MOST = 3
"""Suggestions, and places to listen to for each: more than that nobody practises (our choice)."""
RARE = 0.05
"""A label on at most so many of the phrases is as good as never there (our choice)."""
ERROR_RATE = 0.05
"""Of a hundred sets of takes that do everything as often as soloists do, five at most get a suggestion
(our choice); shared among all labels and strands that are looked at (Bonferroni's inequality)."""
_LOOKED_FOR = tuple(
    (dimension, label)
    for dimension, labels in LABELS.items()
    for label in labels
    if label not in {"middle", "new", "answers"}
)
"""Without "middle" or "new" a take has gone to every extreme; answers are too rare in solos to be missed."""


class Why(StrEnum):
    """Why a place is worth hearing first."""

    TYPICAL = "typical"
    NEAREST = "nearest"
    THERE = "there"


@dataclass(frozen=True, slots=True)
class Place:
    """A phrase to listen to."""

    title: str
    file: str
    start_s: float
    why: Why


@dataclass(frozen=True, slots=True)
class Suggestion:
    """A ``label`` that only ``count`` of the ``measured`` phrases of ``takes`` have, among the ``last``.

    ``usual`` is its share in annotated jazz solos, ``chance`` how likely takes that do it as often as those
    have it as seldom.
    """

    dimension: str
    label: str
    count: int
    measured: int
    takes: int
    last: int
    usual: float
    chance: float
    listen: tuple[Place, ...]


@dataclass(frozen=True, slots=True)
class Practice:
    """What the last ``takes`` suggest, surest first; without suggestions ``why_none`` says why."""

    takes: int
    phrases: int
    suggestions: tuple[Suggestion, ...] = ()
    why_none: str | None = None


class Played(Protocol):
    """What is needed of a take."""

    @property
    def title(self) -> str:
        """What it is known by."""

    @property
    def file(self) -> str:
        """Its recording's name."""

    @property
    def in_beats(self) -> bool:
        """Whether its lengths and densities count in beats, not seconds."""

    @property
    def phrases(self) -> tuple[PhraseOutline, ...]:
        """Its phrases, in order."""

    @property
    def tally(self) -> Tally:
        """They counted."""


def what_to_practise(
    takes: Sequence[Played], *, settings: TrendSettings, unlike: frozenset[str] = frozenset(), among: int = 1
) -> Practice:
    """Return what the last of ``takes`` (in order of time) suggest.

    Dimensions that are ``unlike`` the solos' are passed over; ``among`` is how many such questions are asked.
    """
    last = takes[-max(settings.last_takes, settings.takes_from) :]
    whole = Tally.sum(take.tally for take in last)
    needed = settings.takes_from
    if len(last) < needed or whole.phrases < settings.phrases_from:
        why = (
            f"{_counted(len(last), 'take')} with {_counted(whole.phrases, 'phrase')}: too little to suggest"
            f" anything; {needed} takes with {settings.phrases_from} phrases would be enough"
        )
        return Practice(len(last), whole.phrases, (), why)
    looked_for = [each for each in _LOOKED_FOR if each[0] not in unlike]
    limit = ERROR_RATE / (len(looked_for) * among) if looked_for else 0.0
    found = [
        _suggestion(last, whole, dimension, label, limit=limit, needed=settings)
        for dimension, label in looked_for
    ]
    sure = sorted((each for each in found if each), key=lambda each: each.chance)
    if not sure:
        looked_at = f"the last {_counted(len(last), 'take')} ({_counted(whole.phrases, 'phrase')})"
        why = f"nothing to suggest: {looked_at} leave nothing out that chance would not leave out too"
        return Practice(len(last), whole.phrases, (), why)
    return Practice(len(last), whole.phrases, tuple(_one_a_dimension(sure))[:MOST])


def _suggestion(
    takes: Sequence[Played],
    whole: Tally,
    dimension: str,
    label: str,
    *,
    limit: float,
    needed: TrendSettings,
) -> Suggestion | None:
    count, measured, usual = whole.labels[label], whole.measured[dimension], usual_shares()[label]
    sizes = [size for take in takes if (size := take.tally.measured[dimension])]
    if len(sizes) < needed.takes_from or measured < needed.phrases_from or count > RARE * measured:
        return None
    chance = usual.at_most(count, sizes)
    if chance > limit:
        return None
    listen = _listen(takes, dimension, label)
    return Suggestion(dimension, label, count, measured, len(sizes), len(takes), usual.share, chance, listen)


def _one_a_dimension(suggestions: Iterable[Suggestion]) -> Iterator[Suggestion]:
    """Yield the surest of each dimension: who plays only in the middle is told of one end at a time."""
    seen: set[str] = set()
    for each in suggestions:
        if each.dimension not in seen:
            seen.add(each.dimension)
            yield each


_LINE = LabelSettings()
_MEASURES: dict[str, Callable[[PhraseOutline, bool], float | None]] = {
    "length": lambda p, beats: p.length / (_LINE.long_from_beats if beats else _LINE.long_from_s),
    "density": lambda p, beats: p.density / (_LINE.dense_from_per_beat if beats else _LINE.dense_from_per_s),
    "groove": lambda p, _: p.tension,
    "articulation": lambda p, _: p.articulation,
    "register": lambda p, _: p.range_place,
    "interval_size": lambda p, _: p.leap_share,
}
_UPWARDS = frozenset({"long", "dense", "against-groove", "legato", "high", "leaps"})
"""Labels that a greater measure leads to. Beats and seconds are told against the lines between labels."""


def _listen(takes: Sequence[Played], dimension: str, label: str) -> tuple[Place, ...]:
    """Return up to three places, each from a take of its own: where it is there, or what comes nearest.

    In a dimension of two labels, what is never the one is always the other: one place shows that.
    """
    there = [
        Place(take.title, take.file, phrase.start_s, Why.THERE)
        for take in takes
        for number, phrase in enumerate(take.phrases)
        if (dimension, label) in words_of(phrase, first=number == 0)
    ]
    nearest = [place for _, place in sorted(_by_measure(takes, dimension, label, Why.NEAREST), key=_first)]
    typical: list[Place] = []
    if len(LABELS[dimension]) == 2:  # noqa: PLR2004  one and the other
        far = sorted(_by_measure(takes, dimension, label, Why.TYPICAL), key=_first, reverse=True)
        typical = [place for _, place in far[:1]]
    return tuple(_one_a_take([*typical, *there, *nearest]))[:MOST]


def _by_measure(
    takes: Sequence[Played], dimension: str, label: str, why: Why
) -> Iterator[tuple[float, Place]]:
    """Yield how far each phrase is from a label, and where it is."""
    if dimension not in _MEASURES:
        for take in takes:
            for phrase in take.phrases[1:]:
                known = phrase.similarity is not None
                place = Place(take.title, take.file, phrase.start_s, why if known else Why.TYPICAL)
                yield -(phrase.similarity or 0.0), place
        return
    measure, sign = _MEASURES[dimension], -1.0 if label in _UPWARDS else 1.0
    for take in takes:
        for phrase in take.phrases:
            if (value := measure(phrase, take.in_beats)) is not None:
                yield sign * value, Place(take.title, take.file, phrase.start_s, why)


def _first(scored: tuple[float, Place]) -> tuple[float, str, float]:
    distance, place = scored
    return distance, place.file, place.start_s


def _one_a_take(places: Iterable[Place]) -> Iterator[Place]:
    """Yield the first place of each take."""
    seen: set[tuple[str, str]] = set()
    for place in places:
        if (place.title, place.file) not in seen:
            seen.add((place.title, place.file))
            yield place


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
