"""Phrases as a cue list: RFC 4180 CSV in UTF-8, one row a phrase."""

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

from batch.bars import BarCounter
from batch.inert import inert_cell
from batch.model import Analysis, ChordRole, Device, Evidence, LabelledPhrase
from batch.relation_words import bare_relation, change_words
from batch.settings import CountsFrom, FrameRate, TimeBase
from batch.tension_words import degree_words
from exporters.base import phrase_names
from exporters.counting import counts_from_session, start_s, timecode_start_s
from exporters.time_base import Ruler, sample

_DECIMALS = 6

_BEAT_STEPS = 1000
"""A beat is told to three decimals."""


@dataclass(frozen=True, slots=True)
class _Row:
    number: int
    name: str
    phrase: LabelledPhrase
    analysis: Analysis
    ruler: Ruler

    @property
    def devices(self) -> tuple[Device, ...]:
        """Return what puts the phrase against the groove."""
        return self.phrase.evidence.devices

    def place(self, time_s: float) -> tuple[int | None, float | None]:
        """Return bar and beat."""
        return self.ruler.bars.bar_beat(time_s, _BEAT_STEPS) if self.ruler.bars else (None, None)

    def position_s(self, time_s: float) -> float:
        """Return a time in the take as counted in this list."""
        return self.ruler.starts_at_s + time_s

    def sample(self, time_s: float) -> int | None:
        """Return the sample of a time in the take as counted in this list."""
        return sample(self.position_s(time_s), self.analysis.take.sample_rate_hz)

    @property
    def tension(self) -> float | None:
        """Return the tension of the phrase."""
        tension = self.analysis.tension
        return tension.phrases[self.number - 1].value if tension else None

    def role_share(self, role: ChordRole) -> float | None:
        """Return the share of the phrase's notes that are this over their chords; None where none sounds."""
        harmony, first = self.analysis.harmony, self.phrase.first_note
        roles = [r for r in harmony.roles[first : self.phrase.last_note + 1] if r] if harmony else []
        return roles.count(role) / len(roles) if roles else None

    @property
    def held(self) -> str | None:
        """Return what the phrase holds: degrees over a chart, else why the notes are held."""
        tension = self.analysis.tension
        held = [each for each in tension.held if each.phrase == self.number - 1] if tension else []
        told = [degree_words(each.degree) if each.degree else " ".join(each.why) for each in held]
        return ", ".join(told) or None


Cell = str | int | float | None
_COLUMNS: dict[str, Callable[[_Row], Cell]] = {
    "number": lambda row: row.number,
    "name": lambda row: row.name,
    "start": lambda row: row.ruler(row.phrase.start_s),
    "end": lambda row: row.ruler(row.phrase.end_s),
    "start_s": lambda row: row.position_s(row.phrase.start_s),
    "end_s": lambda row: row.position_s(row.phrase.end_s),
    "start_sample": lambda row: row.sample(row.phrase.start_s),
    "end_sample": lambda row: row.sample(row.phrase.end_s),
    "start_bar": lambda row: row.place(row.phrase.start_s)[0],
    "start_beat": lambda row: row.place(row.phrase.start_s)[1],
    "end_bar": lambda row: row.place(row.phrase.end_s)[0],
    "end_beat": lambda row: row.place(row.phrase.end_s)[1],
    "length": lambda row: row.phrase.labels.length.value,
    "density": lambda row: row.phrase.labels.density.value,
    "groove": lambda row: row.phrase.labels.groove.value,
    "articulation_label": lambda row: row.phrase.labels.articulation.value,
    "register_label": lambda row: row.phrase.labels.register.value,
    "interval_size_label": lambda row: row.phrase.labels.interval_size.value,
    "relation": lambda row: bare_relation(row.phrase.relation),
    "relation_change": lambda row: ", ".join(change_words(row.phrase.relation)) or None,
    "tension": lambda row: row.tension,
    "chord_share": lambda row: row.role_share(ChordRole.CHORD_TONE),
    "outside_share": lambda row: row.role_share(ChordRole.OUTSIDE),
    "held": lambda row: row.held,
    "take": lambda row: row.analysis.take.file,
}


def _evidence(name: str) -> Callable[[_Row], Cell]:
    def read(row: _Row) -> Cell:
        value: Any = getattr(row.phrase.evidence, name)
        return " ".join(value) if isinstance(value, tuple) else value

    return read


_COLUMNS |= {field.name: _evidence(field.name) for field in fields(Evidence) if field.name != "devices"}
_COLUMNS |= {
    "devices": lambda row: ", ".join(dict.fromkeys(device.name for device in row.devices)) or None,
    "device_start": lambda row: row.ruler(row.devices[0].start_s) if row.devices else None,
    "device_end": lambda row: row.ruler(row.devices[-1].end_s) if row.devices else None,
}


@dataclass(frozen=True, slots=True)
class CsvCues:
    """The cue list with the columns asked for, all of them by default; start and end in the time base."""

    columns: tuple[str, ...] = tuple(_COLUMNS)
    separator: str = ","
    time_base: TimeBase = "clock"
    frame_rate: FrameRate = "25"
    sample_rate_hz: int | None = None
    counts_from: CountsFrom = "auto"
    suffix: str = ".cues.csv"

    def render(self, analysis: Analysis) -> bytes:
        """Return the list with a header row and CRLF line ends."""
        stream = io.StringIO(newline="")
        writer = csv.writer(stream, delimiter=self.separator, lineterminator="\r\n")
        writer.writerow(self.columns)
        ruler = self._ruler(analysis)
        names = phrase_names(analysis.phrases)
        for number, (name, phrase) in enumerate(zip(names, analysis.phrases, strict=True), start=1):
            row = _Row(number, name, phrase, analysis, ruler)
            writer.writerow([cell(_COLUMNS[column](row)) for column in self.columns])
        return stream.getvalue().encode("utf-8", errors="replace")

    def _ruler(self, analysis: Analysis) -> Ruler:
        from_session = counts_from_session(analysis, self.counts_from)
        return Ruler(
            self.time_base,
            self.frame_rate,
            self.sample_rate_hz or analysis.take.sample_rate_hz,
            BarCounter.of(grid, from_session=from_session) if (grid := analysis.measured_on) else None,
            start_s(analysis, self.counts_from),
            timecode_start_s(analysis, self.counts_from),
        )


def cell(value: Cell) -> Cell:
    """Return a value as written: text made inert, numbers to the microsecond."""
    if isinstance(value, str):
        return inert_cell(value)
    return round(value, _DECIMALS) if isinstance(value, float) else value
