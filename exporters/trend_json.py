"""A trend as JSON, ``takemill.trend/1``: adding a field is no new schema number, changing one is."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from pydantic import TypeAdapter

from batch.trend.advice import found_words, try_words
from batch.trend.practice import Place, Practice, Suggestion
from batch.trend.rows import LeftOut, Sighting, Strand, Stretch, Trend

SCHEMA = "takemill.trend/1"
_DECIMALS = 3
_NOTHING = LeftOut()


@dataclass(frozen=True, slots=True)
class TakeRow:
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


@dataclass(frozen=True, slots=True)
class PeriodRow:
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


@dataclass(frozen=True, slots=True)
class PlaceRow:
    """A phrase to listen to: ``typical`` of the rule, ``there`` an exception, ``nearest`` to one."""

    title: str
    file: str
    start_s: float
    why: str


@dataclass(frozen=True, slots=True)
class SuggestionRow:
    """A label that ``count`` of ``measured`` phrases have, in ``takes`` of the ``last`` takes.

    In annotated jazz solos a share ``usual_share`` have it.
    ``chance`` is how likely that is in takes that have it as often as those solos.
    """

    dimension: str
    label: str
    count: int
    measured: int
    takes: int
    last: int
    usual_share: float
    chance: float
    found: str
    advice: str
    listen: tuple[PlaceRow, ...]


@dataclass(frozen=True, slots=True)
class PracticeRow:
    """What the last takes suggest, surest first; or why nothing."""

    takes: int
    phrases: int
    suggestions: tuple[SuggestionRow, ...]
    why_none: str | None


@dataclass(frozen=True, slots=True)
class GroupRow:
    """All takes (``name`` is null), or those of a tune or a player."""

    name: str | None
    periods: tuple[PeriodRow, ...]
    takes: tuple[TakeRow, ...]
    practice: PracticeRow


@dataclass(frozen=True, slots=True)
class LeftOutRow:
    """How many takes are not counted: without a possible date, analysis or phrase, and those that failed."""

    undated: int
    gone: int
    failed: int
    silent: int


@dataclass(frozen=True, slots=True)
class TrendFile:
    """The file. ``thin`` are tunes or players with too few takes; ``why_null`` says why there is no group.

    ``own_lines`` are dimensions in which the settings draw their own lines between labels: there are no
    suggestions about those. ``names_fit`` is how many of ``names_asked`` takes the pattern for names fits.
    """

    schema: str = field(default=SCHEMA, kw_only=True)
    per: str
    by: str | None
    takes: int
    dated_by: dict[str, int]
    groups: tuple[GroupRow, ...]
    thin: tuple[str, ...]
    without_name: int
    why_null: str | None
    left_out: LeftOutRow
    own_lines: tuple[str, ...]
    names_asked: int
    names_fit: int


_ADAPTER = TypeAdapter(TrendFile)


def trend_schema() -> dict[str, Any]:
    """Return the JSON Schema of the file."""
    return _ADAPTER.json_schema(mode="serialization")


def render_json(trend: Trend, left_out: LeftOut = _NOTHING) -> bytes:
    """Return the trend as ASCII JSON."""
    written = TrendFile(
        per=trend.per.value,
        by=trend.by.value if trend.by else None,
        takes=trend.takes,
        dated_by={source.value: number for source, number in trend.dated.items()},
        groups=tuple(_group(strand) for strand in trend.strands),
        thin=trend.thin,
        without_name=trend.nameless,
        why_null=trend.why_null,
        left_out=LeftOutRow(left_out.undated, left_out.gone, left_out.failed, trend.silent),
        own_lines=tuple(sorted(left_out.unlike)),
        names_asked=left_out.asked,
        names_fit=left_out.fits,
    )
    fields = _ADAPTER.dump_python(written, mode="json")
    return json.dumps(fields, indent=1, allow_nan=False).encode("ascii") + b"\n"


def _group(strand: Strand) -> GroupRow:
    return GroupRow(
        name=strand.name,
        periods=tuple(_period(each) for each in strand.stretches),
        takes=tuple(_take(take) for take in strand.takes),
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
        suggestions=tuple(_suggestion(each) for each in practice.suggestions),
        why_none=practice.why_none,
    )


def _suggestion(suggestion: Suggestion) -> SuggestionRow:
    return SuggestionRow(
        dimension=suggestion.dimension,
        label=suggestion.label,
        count=suggestion.count,
        measured=suggestion.measured,
        takes=suggestion.takes,
        last=suggestion.last,
        usual_share=suggestion.usual,
        chance=float(f"{suggestion.chance:.2g}"),
        found=found_words(suggestion),
        advice=try_words(suggestion),
        listen=_places(suggestion.listen),
    )


def _places(places: Sequence[Place]) -> tuple[PlaceRow, ...]:
    return tuple(
        PlaceRow(title=p.title, file=p.file, start_s=round(p.start_s, _DECIMALS), why=p.why.value)
        for p in places
    )


def _rounded(value: float | None, decimals: int = _DECIMALS) -> float | None:
    return None if value is None else round(value, decimals)
