"""Draw the picture of a trend that the README shows: an invented player's season, ten weeks of practice.

``python demo/make_season.py PICTURES``: into the folder PICTURES. The demo's own takes are of one evening.
"""

import sys
from collections.abc import Mapping
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

from batch.model import Articulation, Density, Groove, IntervalSize, Labels, Length, Register, RelationKind
from batch.outline import PhraseOutline
from batch.settings import TrendSettings
from batch.trend.dates import DatedBy
from batch.trend.periods import Per
from batch.trend.rows import Sighting, Trend, trend_of
from exporters.pictures.trend_picture import render_svg

TITLE = "Ada Quill, autumn practice"
FILE_NAME = "season.trend.svg"
TUNES = ("Slow Lantern", "Off Kilter", "Copper Kettle")
FIRST = datetime(2025, 9, 2, 20)
WEEKS, AWAY = 10, (4,)
"""She was away in the fifth week."""


def season() -> list[Sighting]:
    """Return her takes: week by week denser, and no longer low."""
    chance, takes = Random(7), []
    for week in range(WEEKS):
        for evening in () if week in AWAY else chance.sample(range(6), chance.choice((1, 2, 2))):
            for _ in range(chance.choice((1, 2))):
                late = week / (WEEKS - 1)
                tune = chance.choice(TUNES)
                title = f"{tune} {1 + sum(take.tune == tune for take in takes)}"
                at = FIRST + timedelta(weeks=week, days=evening, minutes=10 * len(takes) % 60)
                takes.append(_take(chance, title, tune, at, late))
    return takes


def trend() -> Trend:
    """Return her season, week by week."""
    return trend_of(season(), Per.WEEK, settings=TrendSettings())


def _take(chance: Random, title: str, tune: str, at: datetime, late: float) -> Sighting:
    shares = {
        "long": 0.5 + 0.2 * late,
        "dense": min(0.4 + 1.2 * late, 0.99),
        "against": 0.1 + 0.1 * late,
        "staccato": 0.08,
        "low": max(0.25 - 0.7 * late, 0.0),
        "leaps": 0.5,
    }
    phrases = tuple(_phrase(chance, 5.0 * i, shares) for i in range(chance.randint(9, 14)))
    score = min(max(chance.gauss(58 - 22 * late, 7), 0), 100)
    return Sighting(
        title=title,
        file=f"{title}.wav",
        at=at,
        dated_by=DatedBy.RECORDING,
        tune=tune,
        player="Ada Quill",
        duration_s=5.0 * len(phrases),
        phrases=phrases,
        score=score,
        low=score - 5,
        high=score + 5,
        connectedness=chance.uniform(25, 45),
        in_beats=True,
    )


def _phrase(chance: Random, start_s: float, shares: Mapping[str, float]) -> PhraseOutline:
    has = {label: chance.random() < share for label, share in shares.items()}
    height = chance.uniform(0.05, 0.3) if has["low"] else chance.uniform(0.36, 1.0)
    register = Register.LOW if has["low"] else Register.HIGH if height >= 2 / 3 else Register.MIDDLE
    return PhraseOutline(
        start_s,
        start_s + 4.0,
        Labels(
            Length.LONG if has["long"] else Length.SHORT,
            Density.DENSE if has["dense"] else Density.SPARSE,
            Groove.AGAINST_GROOVE if has["against"] else Groove.IN_GROOVE,
            Articulation.STACCATO if has["staccato"] else Articulation.LEGATO,
            register,
            IntervalSize.LEAPS if has["leaps"] else IntervalSize.STEPS,
        ),
        density=chance.uniform(2, 5) if has["dense"] else chance.uniform(0.5, 1.9),
        length=9.0 if has["long"] else 3.0,
        relation=chance.choices((RelationKind.NEW, RelationKind.VARIES, RelationKind.ANSWERS), (6, 1, 3))[0],
        range_place=height,
    )


if __name__ == "__main__":
    (Path(sys.argv[1]) / FILE_NAME).write_bytes(render_svg(trend(), TITLE))
