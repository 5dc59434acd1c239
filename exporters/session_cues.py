"""A session's takes and their phrases as one cue list: RFC 4180 CSV in UTF-8."""

import csv
import io
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from batch.outline import PhraseOutline, Spot
from batch.session import Layout, Placed
from batch.settings import FrameRate, TimeBase
from exporters.csv_cues import Cell, cell
from exporters.session_names import phrase_names, section_names
from exporters.time_base import Ruler, sample


@dataclass(frozen=True, slots=True)
class _Row:
    """A take, or one of its phrases; times in seconds from the files' zero."""

    number: str
    name: str
    one: Placed
    ruler: Ruler
    rate_hz: int | None
    phrase: PhraseOutline | None = None

    @property
    def start_s(self) -> float:
        return self.one.start_s + (self.phrase.start_s if self.phrase else 0.0)

    @property
    def end_s(self) -> float:
        return self.one.start_s + self.phrase.end_s if self.phrase else self.one.end_s

    def spot(self, which: str) -> Spot | None:
        return getattr(self.phrase, which) if self.phrase else None

    def written(self, which: str) -> Cell:
        """Return start or end in the time base; bars are those of the take's grid."""
        if self.ruler.base == "bars":
            spot = self.spot(which)
            return spot.text if spot else None
        return self.ruler(self.start_s if which == "start" else self.end_s)


def _bar(which: str) -> Callable[[_Row], Cell]:
    return lambda row: spot.bar if (spot := row.spot(which)) else None


def _beat(which: str) -> Callable[[_Row], Cell]:
    return lambda row: spot.beat if (spot := row.spot(which)) else None


_COLUMNS: dict[str, Callable[[_Row], Cell]] = {
    "number": lambda row: row.number,
    "name": lambda row: row.name,
    "start": lambda row: row.written("start"),
    "end": lambda row: row.written("end"),
    "start_s": lambda row: row.start_s,
    "end_s": lambda row: row.end_s,
    "start_sample": lambda row: sample(row.start_s, row.rate_hz),
    "end_sample": lambda row: sample(row.end_s, row.rate_hz),
    "start_bar": _bar("start"),
    "start_beat": _beat("start"),
    "end_bar": _bar("end"),
    "end_beat": _beat("end"),
    "length": lambda row: row.phrase.labels.length.value if row.phrase else None,
    "density": lambda row: row.phrase.labels.density.value if row.phrase else None,
    "groove": lambda row: row.phrase.labels.groove.value if row.phrase else None,
    "duration_s": lambda row: row.end_s - row.start_s,
    "take": lambda row: row.one.take.file,
}
"""Of a take's own list, what places a phrase and what it is called; the evidence stands there."""


@dataclass(frozen=True, slots=True)
class SessionCues:
    """A row for each take, with its number, and one for each of its phrases."""

    columns: tuple[str, ...] = tuple(_COLUMNS)
    separator: str = ","
    time_base: TimeBase = "clock"
    frame_rate: FrameRate = "25"
    sample_rate_hz: int | None = None
    suffix: str = ".session-cues.csv"

    def render(self, layout: Layout) -> bytes:
        """Return the list with a header row and CRLF line ends."""
        columns = [name for name in self.columns if name in _COLUMNS] or list(_COLUMNS)
        stream = io.StringIO(newline="")
        writer = csv.writer(stream, delimiter=self.separator, lineterminator="\r\n")
        writer.writerow(columns)
        read = [_COLUMNS[name] for name in columns]
        writer.writerows([cell(of(row)) for of in read] for row in self._rows(layout))
        return stream.getvalue().encode("utf-8", errors="replace")

    def _rows(self, layout: Layout) -> Iterable[_Row]:
        rate_hz = self.sample_rate_hz or _common_rate_hz(layout)
        ruler = Ruler(self.time_base, self.frame_rate, rate_hz, None, timecode_s=layout.zero_reads_s)
        for index, (section, one) in enumerate(zip(section_names(layout), layout.takes, strict=True)):
            yield _Row(section.partition(" ")[0], section, one, ruler, rate_hz)
            phrases = one.take.outline.phrases if one.take.outline else ()
            for name, phrase in zip(phrase_names(layout, index), phrases, strict=True):
                yield _Row(name.partition(" ")[0], name, one, ruler, rate_hz, phrase)


def _common_rate_hz(layout: Layout) -> int | None:
    """Return the sample rate of all takes that have one, None where they differ."""
    rates = {one.take.outline.sample_rate_hz for one in layout.takes if one.take.outline} - {None}
    return rates.pop() if len(rates) == 1 else None
