"""Takes over weeks made for tests: phrases drawn as soloists play, or as a test wants them."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

import numpy as np

from batch.model import Articulation, Density, Groove, IntervalSize, Labels, Length, Register, RelationKind
from batch.outline import PhraseOutline
from batch.trend.dates import DatedBy
from batch.trend.rows import Sighting

START = datetime(2026, 9, 1, 20, 0)
"""A Tuesday in ISO week 36."""
USUAL = {
    "long": 0.6,
    "dense": 0.4,
    "against-groove": 0.16,
    "staccato": 0.07,
    "low": 0.19,
    "high": 0.25,
    "leaps": 0.48,
    "varies": 0.17,
    "answers": 0.005,
}
"""Shares of phrases in annotated jazz solos, rounded from what ``batch.trend.fit`` found."""


def drawn(
    chance: np.random.Generator, count: int, shares: Mapping[str, float] = USUAL
) -> list[PhraseOutline]:
    """Return phrases that have each label with its share, whatever the others are."""
    return [_phrase(chance, 4.0 * i, shares) for i in range(count)]


def _phrase(chance: np.random.Generator, start_s: float, shares: Mapping[str, float]) -> PhraseOutline:
    has = {label: bool(chance.random() < share) for label, share in shares.items()}
    height = chance.random()
    register = (
        Register.LOW
        if height < shares["low"]
        else Register.HIGH
        if height > 1 - shares["high"]
        else Register.MIDDLE
    )
    places = {Register.LOW: 0.1, Register.MIDDLE: 0.5, Register.HIGH: 0.9}
    kin = chance.random()
    relation = (
        RelationKind.VARIES
        if kin < shares["varies"]
        else RelationKind.ANSWERS
        if kin > 1 - shares["answers"]
        else RelationKind.NEW
    )
    return PhraseOutline(
        start_s,
        start_s + (3.5 if has["long"] else 1.0),
        Labels(
            Length.LONG if has["long"] else Length.SHORT,
            Density.DENSE if has["dense"] else Density.SPARSE,
            Groove.AGAINST_GROOVE if has["against-groove"] else Groove.IN_GROOVE,
            Articulation.STACCATO if has["staccato"] else Articulation.LEGATO,
            register,
            IntervalSize.LEAPS if has["leaps"] else IntervalSize.STEPS,
        ),
        density=3.0 if has["dense"] else 1.0,
        length=9.0 if has["long"] else 3.0,
        relation=relation,
        articulation=0.4 if has["staccato"] else 0.9,
        range_place=places[register] + chance.uniform(-0.05, 0.05),
        leap_share=0.8 if has["leaps"] else 0.1,
        tension=1.5 if has["against-groove"] else 0.3,
    )


def sighting(
    number: int,
    phrases: Sequence[PhraseOutline],
    *,
    at: datetime | None = None,
    score: float | None = 50.0,
    tune: str | None = "Slow Lantern",
    player: str | None = "Ada Quill",
    title: str | None = None,
) -> Sighting:
    """Return take ``number``, a day after the one before unless it is said when."""
    return Sighting(
        title=title or f"take {number}",
        file=f"take-{number}.wav",
        at=at or START + timedelta(days=number),
        dated_by=DatedBy.RECORDING,
        tune=tune,
        player=player,
        duration_s=4.0 * max(len(phrases), 1),
        phrases=tuple(phrases),
        score=score,
        low=None if score is None else score - 5,
        high=None if score is None else score + 5,
        parts={"length": 40.0, "register": None},
        connectedness=30.0,
        in_beats=True,
    )
