"""How often a take says each thing: its phrases counted by label, dimension by dimension."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from batch.model import Articulation, Groove, IntervalSize, Labels, RelationKind

LABELS: Mapping[str, tuple[str, ...]] = {
    "length": ("short", "long"),
    "density": ("sparse", "dense"),
    "groove": ("in-groove", "against-groove"),
    "articulation": ("legato", "staccato"),
    "register": ("low", "middle", "high"),
    "interval_size": ("steps", "leaps"),
    "relation": ("new", "varies", "answers"),
}
"""What a phrase can be in each dimension."""


class Heard(Protocol):
    """What is counted of a phrase."""

    @property
    def labels(self) -> Labels:
        """Its words."""

    @property
    def relation(self) -> RelationKind:
        """What it does with an earlier phrase."""

    @property
    def range_place(self) -> float | None:
        """Where it lies in its take's range; None where that is too narrow for a bottom and a top."""


@dataclass(frozen=True, slots=True)
class Tally:
    """Of the phrases ``measured`` in each dimension, how many there are with each label."""

    phrases: int = 0
    labels: Counter[str] = field(default_factory=Counter)
    measured: Counter[str] = field(default_factory=Counter)

    def share(self, dimension: str, label: str) -> float | None:
        """Return the share of a label; None where nothing was measured."""
        return self.labels[label] / self.measured[dimension] if self.measured[dimension] else None

    @classmethod
    def of(cls, phrases: Sequence[Heard]) -> "Tally":
        """Count one take's phrases, in order. What is unmeasured does not count.

        The first phrase has none before it that it could take up.
        """
        tally = cls(len(phrases))
        for number, phrase in enumerate(phrases):
            for dimension, label in words_of(phrase, first=number == 0):
                tally.labels[label] += 1
                tally.measured[dimension] += 1
        return tally

    @classmethod
    def sum(cls, tallies: Iterable["Tally"]) -> "Tally":
        """Return several takes counted together."""
        phrases, labels, measured = 0, Counter[str](), Counter[str]()
        for tally in tallies:
            phrases += tally.phrases
            labels.update(tally.labels)
            measured.update(tally.measured)
        return cls(phrases, labels, measured)


def words_of(phrase: Heard, *, first: bool) -> list[tuple[str, str]]:
    """Return what a phrase is in each dimension that was measured."""
    labels = phrase.labels
    words = [("length", labels.length.value), ("density", labels.density.value)]
    if labels.groove is not Groove.UNMEASURED:
        words.append(("groove", labels.groove.value))
    if labels.articulation is not Articulation.UNMEASURED:
        words.append(("articulation", labels.articulation.value))
    if phrase.range_place is not None:
        words.append(("register", labels.register.value))
    if labels.interval_size is not IntervalSize.UNMEASURED:
        words.append(("interval_size", labels.interval_size.value))
    if not first:
        words.append(("relation", phrase.relation.value))
    return words
