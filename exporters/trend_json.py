"""A trend as JSON, ``takemill.trend/1``: adding a field is no new schema number, changing one is."""

import json
from collections.abc import Sequence
from datetime import date, datetime
from typing import Literal

from pydantic import BaseModel, Field

from batch.advice import found_words, try_words
from batch.practice import Place, Practice, Suggestion
from batch.trend import Sighting, Strand, Stretch, Trend

SCHEMA: Literal["takemill.trend/1"] = "takemill.trend/1"
_DECIMALS = 3


class TakeRow(BaseModel):
    """A take that was counted: its date (as a clock on the wall had it) and what that is known from."""

    title: str
    file: str
    at: datetime
    dated_by: str
    tune: str | None
    player: str | None
    duration_s: float
    phrases: int
    score: float | None
    low: float | None
    high: float | None


class PeriodRow(BaseModel):
    """One day, ISO 8601 week or month that has takes.

    ``variety`` is the mean of the takes' scores, ``low`` to ``high`` where it lies with 80 %; ``parts`` are
    means too, 0 to 100; ``shares`` are of the phrases in which the label could be told, 0 to 1.
    """

    period: str
    starts_on: date
    takes: int
    duration_s: float
    phrases: int
    variety: float | None
    low: float | None
    high: float | None
    scored_takes: int
    parts: dict[str, float | None]
    connectedness: float | None
    shares: dict[str, float | None]


class PlaceRow(BaseModel):
    """A phrase to listen to: ``typical`` of the rule, ``there`` an exception, ``nearest`` to one."""

    title: str
    file: str
    start_s: float
    why: str


class SuggestionRow(BaseModel):
    """A label that ``count`` of ``measured`` phrases have; ``usual_share`` have it in annotated jazz solos.

    ``chance`` is how likely that is in takes that have it as often as those solos.
    """

    dimension: str
    label: str
    count: int
    measured: int
    takes: int
    usual_share: float
    chance: float
    found: str
    try_: str = Field(serialization_alias="try")
    listen: list[PlaceRow]


class PracticeRow(BaseModel):
    """What the last takes suggest, surest first; or why nothing."""

    takes: int
    phrases: int
    suggestions: list[SuggestionRow]
    why_none: str | None


class GroupRow(BaseModel):
    """All takes (``name`` is null), or those of a tune or a player."""

    name: str | None
    periods: list[PeriodRow]
    takes: list[TakeRow]
    practice: PracticeRow


class TrendFile(BaseModel):
    """The file. ``thin`` are tunes or players with too few takes; ``why_null`` says why there is no group."""

    schema_: str = Field(default=SCHEMA, serialization_alias="schema")
    per: str
    by: str | None
    takes: int
    dated_by: dict[str, int]
    groups: list[GroupRow]
    thin: list[str]
    without_name: int
    why_null: str | None


def render_json(trend: Trend) -> bytes:
    """Return the trend as ASCII JSON."""
    written = TrendFile(
        per=trend.per.value,
        by=trend.by.value if trend.by else None,
        takes=trend.takes,
        dated_by={source.value: number for source, number in trend.dated.items()},
        groups=[_group(strand) for strand in trend.strands],
        thin=list(trend.thin),
        without_name=trend.nameless,
        why_null=trend.why_null,
    )
    fields = written.model_dump(mode="json", by_alias=True)
    return json.dumps(fields, indent=1, allow_nan=False).encode("ascii") + b"\n"


def _group(strand: Strand) -> GroupRow:
    return GroupRow(
        name=strand.name,
        periods=[_period(each) for each in strand.stretches],
        takes=[_take(take) for take in strand.takes],
        practice=_practice(strand.practice),
    )


def _period(stretch: Stretch) -> PeriodRow:
    level = stretch.variety
    return PeriodRow(
        period=stretch.name,
        starts_on=stretch.start,
        takes=len(stretch.takes),
        duration_s=round(stretch.duration_s, _DECIMALS),
        phrases=stretch.phrases,
        variety=_rounded(level.mean if level else None, 1),
        low=_rounded(level.low if level else None, 1),
        high=_rounded(level.high if level else None, 1),
        scored_takes=level.takes if level else 0,
        parts={name: _rounded(value, 1) for name, value in stretch.parts.items()},
        connectedness=_rounded(stretch.connectedness, 1),
        shares={label: _rounded(value) for label, value in stretch.shares.items()},
    )


def _take(take: Sighting) -> TakeRow:
    return TakeRow(
        title=take.title,
        file=take.file,
        at=take.at.replace(microsecond=0),
        dated_by=take.dated_by.value,
        tune=take.tune,
        player=take.player,
        duration_s=round(take.duration_s, _DECIMALS),
        phrases=len(take.phrases),
        score=take.score,
        low=take.low,
        high=take.high,
    )


def _practice(practice: Practice) -> PracticeRow:
    return PracticeRow(
        takes=practice.takes,
        phrases=practice.phrases,
        suggestions=[_suggestion(each) for each in practice.suggestions],
        why_none=practice.why_none,
    )


def _suggestion(suggestion: Suggestion) -> SuggestionRow:
    return SuggestionRow(
        dimension=suggestion.dimension,
        label=suggestion.label,
        count=suggestion.count,
        measured=suggestion.measured,
        takes=suggestion.takes,
        usual_share=suggestion.usual,
        chance=float(f"{suggestion.chance:.2g}"),
        found=found_words(suggestion),
        try_=try_words(suggestion),
        listen=_places(suggestion.listen),
    )


def _places(places: Sequence[Place]) -> list[PlaceRow]:
    return [
        PlaceRow(
            title=place.title, file=place.file, start_s=round(place.start_s, _DECIMALS), why=place.why.value
        )
        for place in places
    ]


def _rounded(value: float | None, decimals: int = _DECIMALS) -> float | None:
    return None if value is None else round(value, decimals)
