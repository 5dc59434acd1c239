"""Phrases as a cue list: RFC 4180 CSV in UTF-8, one row a phrase."""

import csv
import io
from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

from batch.model import Analysis, Evidence, Grid, LabelledPhrase, RelationKind
from exporters.base import phrase_names

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
"""A spreadsheet runs a cell that starts so (OWASP, "CSV Injection"; from memory)."""

_DECIMALS = 6


@dataclass(frozen=True, slots=True)
class _Row:
    number: int
    name: str
    phrase: LabelledPhrase
    analysis: Analysis


Cell = str | int | float | None
_COLUMNS: dict[str, Callable[[_Row], Cell]] = {
    "number": lambda row: row.number,
    "name": lambda row: row.name,
    "start": lambda row: clock(row.phrase.start_s),
    "end": lambda row: clock(row.phrase.end_s),
    "start_s": lambda row: row.phrase.start_s,
    "end_s": lambda row: row.phrase.end_s,
    "start_sample": lambda row: _sample(row.phrase.start_s, row.analysis.take.sample_rate_hz),
    "end_sample": lambda row: _sample(row.phrase.end_s, row.analysis.take.sample_rate_hz),
    "start_bar": lambda row: _bar_beat(row.phrase.start_s, row.analysis.grid)[0],
    "start_beat": lambda row: _bar_beat(row.phrase.start_s, row.analysis.grid)[1],
    "end_bar": lambda row: _bar_beat(row.phrase.end_s, row.analysis.grid)[0],
    "end_beat": lambda row: _bar_beat(row.phrase.end_s, row.analysis.grid)[1],
    "length": lambda row: row.phrase.labels.length.value,
    "density": lambda row: row.phrase.labels.density.value,
    "groove": lambda row: row.phrase.labels.groove.value,
    "relation": lambda row: _relation(row.phrase),
    "take": lambda row: row.analysis.take.file,
}


def _evidence(name: str) -> Callable[[_Row], Cell]:
    def read(row: _Row) -> Cell:
        value: Any = getattr(row.phrase.evidence, name)
        return " ".join(value) if isinstance(value, tuple) else value

    return read


_COLUMNS |= {field.name: _evidence(field.name) for field in fields(Evidence)}


@dataclass(frozen=True, slots=True)
class CsvCues:
    """The cue list with the columns asked for, all of them by default."""

    columns: tuple[str, ...] = tuple(_COLUMNS)
    separator: str = ","
    suffix: str = ".cues.csv"

    def render(self, analysis: Analysis) -> bytes:
        """Return the list with a header row and CRLF line ends."""
        stream = io.StringIO(newline="")
        writer = csv.writer(stream, delimiter=self.separator, lineterminator="\r\n")
        writer.writerow(self.columns)
        names = phrase_names(analysis.phrases)
        for number, (name, phrase) in enumerate(zip(names, analysis.phrases, strict=True), start=1):
            row = _Row(number, name, phrase, analysis)
            writer.writerow([_cell(_COLUMNS[column](row)) for column in self.columns])
        return stream.getvalue().encode("utf-8", errors="replace")


def clock(time_s: float) -> str:
    """Return a time as h:mm:ss.mmm, rounded to the nearest millisecond."""
    milliseconds = round(time_s * 1000)
    minutes, rest = divmod(milliseconds, 60_000)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{rest // 1000:02}.{rest % 1000:03}"


def inert(text: str) -> str:
    """Return text that no spreadsheet takes for a formula: with an apostrophe where it might."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _cell(value: Cell) -> Cell:
    if isinstance(value, str):
        return inert(value)
    return round(value, _DECIMALS) if isinstance(value, float) else value


def _sample(time_s: float, rate_hz: int | None) -> int | None:
    return None if rate_hz is None else round(time_s * rate_hz)


def _bar_beat(time_s: float, grid: Grid | None) -> tuple[int | None, float | None]:
    """Return the bar and the fractional beat in it, both from 1, as a session counts them."""
    if grid is None:
        return None, None
    beats, last = grid.beats_s, len(grid.beats_s) - 1
    index = max(bisect_right(beats, time_s) - 1, 0)
    left = min(index, last - 1)
    part = round((time_s - beats[index]) / (beats[left + 1] - beats[left]), 3)
    if part >= 1 and index < last:
        index, part = index + 1, 0.0
    bars_before = sum(beat == 1 for beat in grid.beat_in_bar[1 : index + 1])
    return grid.first_bar + bars_before, grid.beat_in_bar[index] + part


def _relation(phrase: LabelledPhrase) -> str:
    relation = phrase.relation
    if relation.kind is RelationKind.NEW or relation.to_phrase is None:
        return relation.kind.value
    return f"{relation.kind.value} {relation.to_phrase + 1}"
