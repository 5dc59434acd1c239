"""The shape of the files that are written."""

from typing import Annotated, Any, Literal, Self, get_args

from pydantic import AfterValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from batch.exports import known
from batch.settings.values import CONTRADICTION, Section, Tempo, once

CountsFrom = Literal["auto", "take", "session"]
"""What positions count from: the take's start, or the session's zero. ``auto`` is the session where its own
tempo map is known, for a file that states that map fits nowhere else; otherwise the take."""


LabelName = Literal["length", "density", "groove", "articulation", "register", "interval_size"]
"""What each phrase has a label for."""
MARKED: tuple[LabelName, ...] = ("length", "density", "groove")


MarkerTrack = Literal["first", "last"]
StatedMap = Literal["known", "none", "heard"]
"""Which tempo map a file states: a session's or a take's own where there is one; none, but one tempo; or
else also what was heard, where that can be trusted."""


class MarkerSettings(Section):
    """The shape of the MIDI marker file."""

    counts_from: CountsFrom = "auto"

    midi_format: Literal[0, 1] = 0
    """One track, or several."""
    track: MarkerTrack = "first"
    """Which of several has the markers."""
    event: Literal["marker", "cue-point"] = "marker"
    labels: Annotated[tuple[LabelName, ...], Field(min_length=1, strict=False), AfterValidator(once)] = MARKED
    """Which labels stand in a marker, in this order; a register in the middle has no word there."""
    moments: bool = False
    """Mark builds, peaks, releases, and where the groove is left, beside the phrases: ``peak 06``."""
    devices: bool = False
    """Name what puts a phrase against the groove in the marker: ``07 long dense off-beats``."""
    spans: bool = True
    """Write one note a phrase, so that a program without regions shows the spans."""
    session_tempo_bpm: Tempo = 120.0
    """Tempo the file states where the take has no map of its own."""
    tempo_map: StatedMap = "known"
    notes: bool = False
    """Write the heard notes too, as a part of their own: on the second channel, or in a track of several."""
    notes_file: bool = False
    """The same to a file of their own, ``NAME.notes.mid``."""

    @model_validator(mode="after")
    def _has_several_tracks(self) -> Self:
        if self.track == "last" and self.midi_format == 0:
            problem = 'track = "last" chooses among several tracks; set midi_format = 1 too'
            raise PydanticCustomError(CONTRADICTION, problem)
        return self


CueColumn = Literal[
    "number", "name", "start", "end", "start_s", "end_s", "start_sample", "end_sample",
    "start_bar", "start_beat", "end_bar", "end_beat", "length", "density", "groove",
    "duration_s", "duration_beats", "note_count", "notes_per_beat", "notes_per_s", "articulation",
    "syncopation", "syncopated_run", "grouping", "grouping_strength", "off_grid", "devices", "device_start",
    "device_end", "register", "range_place", "leap_share", "articulation_label", "register_label",
    "interval_size_label", "borderline", "relation", "relation_change", "tension", "chord_share",
    "outside_share", "held", "take",
]  # fmt: skip


TimeBase = Literal["clock", "seconds", "samples", "timecode", "bars"]
FrameRate = Literal["23.976", "24", "25", "29.97", "29.97 drop", "30"]
"""Frames a second of SMPTE ST 12-1 timecode, with and without drop-frame counting."""


class CueSettings(Section):
    """The shape of the CSV cue list."""

    counts_from: CountsFrom = "auto"

    time_base: TimeBase = "clock"
    """How the columns ``start`` and ``end`` count."""
    frame_rate: FrameRate = "25"
    """Of the time base ``timecode``; 25 is that of European video."""
    sample_rate_hz: Annotated[int, Field(ge=1_000, le=1_000_000)] | None = None
    """Of the time base ``samples``, where the session's is not the take's."""

    separator: Literal[",", ";", "\t"] = ","
    columns: Annotated[tuple[CueColumn, ...], Field(min_length=1, strict=False)] = get_args(CueColumn)


class SessionSettings(Section):
    """One marker file and one cue list for all takes of a folder, as one session."""

    write: bool = False
    counts_from: Literal["auto", "session", "first-take"] = "auto"
    """Whether the files' zero is the session's or the start of the first take. ``auto`` is the session's,
    unless the time references are a clock's and nothing says what it read there: few sessions start at
    midnight."""
    gap_s: Annotated[float, Field(ge=0, le=3600, allow_inf_nan=False)] = 2.0
    """Between takes that nothing places, which are laid one after another (our choice)."""


class PageSettings(Section):
    """Listening pages: ``NAME.listen.html`` for each take, ``listen.html`` for all in the output folder."""

    write: bool = False


class PictureSettings(Section):
    """Pictures: ``NAME.phrases.svg`` for each take, ``phrases.svg`` for all in the output folder."""

    write: bool = False


ChaptersBy = Literal["auto", "phrase", "section"]
Encode = Literal["no", "flac", "ogg"]
FEWEST_CHAPTERS, MOST_CHAPTERS = 2, 255
"""One section is the take itself; a table of contents in ID3 holds 255 (ID3v2 Chapter Frame
Addendum, 3.2)."""


class ChapterSettings(Section):
    """Chapters in copies to listen to, and in WebVTT."""

    by: ChaptersBy = "auto"
    """By phrase, or by section of several; ``auto`` by phrase while there are at most ``most``."""
    most: Annotated[int, Field(ge=FEWEST_CHAPTERS, le=MOST_CHAPTERS)] = 24
    """Two screens of a phone, and what the keys of a player without a screen still step through (our
    choice)."""
    encode: Encode = "no"
    """What recordings that hold no chapters, such as WAV, are encoded to for them."""


def _is_export(name: str) -> str:
    if name not in known():
        raise ValueError("no such export")
    return name


def _choices(schema: dict[str, Any]) -> None:
    schema["enum"] = list(known())


ExportName = Annotated[str, AfterValidator(_is_export), Field(json_schema_extra=_choices)]


class ExportSettings(Section):
    """Files on request, by the names that ``--export`` has for them."""

    write: Annotated[tuple[ExportName, ...], Field(strict=False), AfterValidator(once)] = ()
    options: dict[str, dict[str, Any]] = Field(default_factory=dict)
    """For exporters of other packages: a section of its own for each, by its name."""
