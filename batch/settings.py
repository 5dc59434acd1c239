"""What a player can set, in ``takemill.toml``; every default carries its source.

Percentiles quoted here were measured on 456 annotated jazz solos, 11,082 phrases (Weimar
Jazz Database: Pfleiderer and others, "Inside the Jazzomat", 2017).
"""

from fnmatch import fnmatchcase
from typing import Annotated, Any, Literal, Self, TypeVar, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    model_validator,
)
from pydantic_core import PydanticCustomError

from batch.exports import known
from batch.naming import parse

Name = TypeVar("Name", bound=str)

Tempo = Annotated[float, Field(ge=20, le=400, allow_inf_nan=False)]
"""Beats a minute. The limits are those of common metronomes with room to spare (from memory)."""
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]
FileName = Annotated[
    str,
    StringConstraints(pattern=r"^[^/\\\x00]*[^/\\\x00.][^/\\\x00]*$"),
    Field(json_schema_extra={"allowed": "a file's name, without a folder"}),
]
Pattern = Annotated[
    str,
    StringConstraints(pattern=r"^[^\x00]*[^\x00./][^\x00]*$"),
    Field(json_schema_extra={"allowed": '"*.wav"'}),
]
ChartName = Annotated[
    str,
    StringConstraints(
        pattern=r"^[^/\\\x00]*[^/\\\x00.]\.([tT][xX][tT]|([mM][uU][sS][iI][cC])?[xX][mM][lL]|[mM][xX][lL])$"
    ),
    Field(json_schema_extra={"allowed": "a file's name that ends in .txt, .musicxml, .xml or .mxl"}),
]
Meter = Annotated[str, StringConstraints(pattern=r"^([1-9]|[1-2][0-9]|3[0-2])/(2|4|8|16)$")]


def _as_text(value: object) -> object:
    """Take a bar written as a number for what it means."""
    return str(value) if type(value) is int else value


_BAR = 'a bar from 1, or bar and beat: "33", "33|2", "33|2.5"'
BarBeat = Annotated[
    str,
    StringConstraints(pattern=r"^[1-9][0-9]{0,4}(\|[1-9][0-9]?(\.[0-9]{1,6})?)?$"),
    Field(json_schema_extra={"allowed": _BAR}),
    BeforeValidator(_as_text),
]
SessionSeconds = Annotated[float, Field(ge=0, le=7 * 86_400, allow_inf_nan=False)]
"""A place in a session, which lasts a week at most (our choice)."""
_WITHIN_A_DAY = Field(ge=-86_400, le=86_400, allow_inf_nan=False)


def _known_channel(value: object) -> object:
    """Refuse at once what is no channel: pydantic would complain for each kind that it is not."""
    if value in ("auto", "mix", "left", "right") or (type(value) is int and value >= 1):
        return value
    raise ValueError("no channel")


Channel = Annotated[
    Literal["auto", "mix", "left", "right"] | Annotated[int, Field(ge=1)], BeforeValidator(_known_channel)
]
"""Channels are numbered from 1, as on recorders; left is 1 and right is 2."""


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class SoundSettings(_Section):
    """What of a recording is heard."""

    channel: Channel = "auto"
    """``auto`` is the mix, unless a channel is silent, holds only a click, or cancels the others, or
    something is spread around a line in the middle."""


class GridSettings(_Section):
    """Where the beat is. Without ``tempo_bpm`` no grid is made from the settings."""

    tempo_bpm: Tempo | None = None
    meter: Meter = "4/4"
    first_downbeat_s: Annotated[float, _WITHIN_A_DAY] = 0.0
    """Time of a first beat of a bar, from the start of the take; of the count-in's where there is one."""
    count_in_bars: Annotated[int, Field(ge=0, le=64)] = 0
    """Bars counted in before bar 1, with a tempo set here; they are bar 0, -1 and so on."""
    companion: FileName | None = None
    """A click or a backing track in the takes' folder; ``{take}`` stands for the take's name."""
    companion_starts_at_s: Annotated[float, _WITHIN_A_DAY] | None = None
    """Where in the take it starts; otherwise Broadcast Wave time references say, or both start together."""
    chart: ChartName | None = None
    """A chord chart in the takes' folder; ``{take}`` stands for the take's name. Without it
    ``NAME.chords.txt`` beside the take is its chart, or ``chords.txt``."""
    chart_from_bar: Annotated[int, Field(ge=-99_999, le=99_999)] = 1
    """The bar, as the grid counts, that the chart starts with."""
    chart_repeats: bool = False
    """Whether the chart is one chorus that starts again until the take ends, though it does not say so."""
    starts_at_s: SessionSeconds | None = None
    """Where in the session the take starts; otherwise a Broadcast Wave time reference says."""
    starts_at_bar: BarBeat | None = None
    """The same as a bar, or bar|beat, of the session's tempo map or of its tempo in these settings."""
    session_starts_at_s: Annotated[float, Field(ge=0, lt=86_400, allow_inf_nan=False)] = 0.0
    """What such a time reference reads at the session's zero, in seconds from midnight."""

    @model_validator(mode="after")
    def _says_one_thing(self) -> Self:
        for key, rivals in _RIVALS.items():
            for rival in rivals:
                if {key, rival} <= self.model_fields_set:
                    problem = f"{key} and {rival} both say where the take starts; keep one of them"
                    raise PydanticCustomError(CONTRADICTION, problem)
        return self

    @property
    def bar_and_beat(self) -> tuple[int, float] | None:
        """``starts_at_bar`` as numbers, both counted from 1."""
        if self.starts_at_bar is None:
            return None
        bar, _, beat = self.starts_at_bar.partition("|")
        return int(bar), float(beat or 1)

    @property
    def meter_pair(self) -> tuple[int, int]:
        """Numerator and denominator of ``meter``."""
        numerator, denominator = self.meter.split("/")
        return int(numerator), int(denominator)


_RIVALS = {
    "starts_at_bar": ("starts_at_s", "first_downbeat_s"),
    "starts_at_s": ("starts_at_bar",),
    "first_downbeat_s": ("starts_at_bar",),
}
"""Settings that say the same thing in other ways: under a pattern, each puts those inherited out of force."""
CONTRADICTION = "contradiction"
"""The type of the error for two settings that cannot both be kept."""


class LabelSettings(_Section):
    """Where one label turns into the other: for length, density and interval size the corpus medians."""

    long_from_beats: Positive = 6.5
    long_from_s: Positive = 2.5
    dense_from_per_beat: Positive = 1.94
    dense_from_per_s: Positive = 5.8
    legato_from: Share = 0.7
    """Note duration over inter-onset interval: half way from staccato as commonly taught, half of the written
    value (common practice, no source), to the corpus median, 0.86; one corpus phrase in thirteen has less."""
    low_below: Share = 0.333
    high_from: Share = 0.667
    """Thirds of the range that the take uses; of corpus phrases 19 % lie in the lower, 26 % in the upper."""
    leaps_from: Share = 0.4
    """Share of intervals over two semitones; the corpus median."""
    borderline: Share = 0.1
    """A label this close to its threshold, as a share of it, is called borderline (our choice)."""

    @model_validator(mode="after")
    def _low_lies_below_high(self) -> Self:
        if self.low_below > self.high_from:
            problem = "low_below must not lie above high_from"
            raise PydanticCustomError(CONTRADICTION, problem)
        return self


class GrooveSettings(_Section):
    """When a phrase rubs against the groove."""

    syncopation_from: Share = 0.4
    """Share of syncopated notes; the corpus quartiles are 0.08, 0.17, 0.28; a phrase in ten has more."""
    syncopated_notes_from: Annotated[int, Field(ge=1)] = 2
    """Fewer are a lone anticipation, which is common practice in the groove (no source)."""
    syncopated_run_from: Positive = 4.5
    """So many syncopated notes together, more than a bar of off-beats: one corpus phrase in twenty."""
    grouping_from: Positive = 5.0
    """Nats by which a group or tuplet across the beat is likelier than none: 3.8 % of the corpus' phrases."""
    off_grid_from: Share = 0.27
    """Distance from the grid in tatums; 0 on it, 0.25 by chance; one corpus phrase in a hundred."""
    confidence_from: Share = 0.8
    """A grid less sure than this leaves the groove unmeasured."""


class HeldSettings(_Section):
    """When a note is held, by its take's own standard."""

    long_from_medians: Annotated[float, Field(gt=1, allow_inf_nan=False)] = 3.0
    """Times the median of the take's note durations (our choice): with what follows, one corpus note in
    fifty is held by its length."""
    long_from_deviations: Positive = 2.5
    """And so many robust standard deviations above it, of the logarithms, so that a ballad of long notes has
    not every one held (median and MAD at 2.5: Leys and others 2013, J. Exp. Soc. Psychol. 49(4), from
    memory)."""
    long_from_s: Positive = 0.5
    """Shorter is held in nobody's ears, however fast the take is (our choice)."""
    repeated_from: Annotated[int, Field(ge=2)] = 4
    """One pitch struck so often in a row: thrice in one corpus phrase of eleven, four times in one of 26."""
    emphasised_from_db: Positive = 6.0
    """Louder than the notes around it by a dynamic mark or so (our choice)."""
    emphasised_from_medians: Annotated[float, Field(gt=1, allow_inf_nan=False)] = 1.5
    """Times the median duration from which a loud note is one that stays, not an accent (our choice)."""


Weight = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]


class TensionSettings(_Section):
    """What makes tension, and how much it must change to be told.

    Each part of a phrase lies between 0 and 1, and its tension is their weighted mean; parts that were not
    measured drop out, and so does a part whose weight is 0. No listening experiment has all of these parts
    side by side for solos, so that no weight pretends to be exact.
    """

    groove_weight: Weight = 1.0
    """Rubbing against the meter is dissonance in time (Krebs 1999, "Fantasy Pieces"); as much as any part."""
    density_weight: Weight = 1.0
    """More onsets are tenser (Krumhansl 1996, Music Perception 13(3); Farbood 2012, 29(4); from memory)."""
    register_weight: Weight = 1.0
    """Higher is tenser (the same two studies, from memory)."""
    dynamics_weight: Weight = 1.0
    """Louder is tenser, in many studies the most of all (Granot & Eitan 2011, Music Perception 28(3), from
    memory); no more than the others here, for a player who turns moves the level too."""
    held_weight: Weight = 0.5
    """A note that will not move on asks for release (common practice, no source); half, because most phrases
    hold none and would pull the rest down."""
    harmony_weight: Weight = 0.5
    """With a chord chart, how far from the chords the notes stay. Among the strongest parts for listeners
    (Farbood 2012, from memory); half, because a line passes through notes that no chord has."""
    smoothed_s: Positive = 2.0
    """Standard deviation of the window that the curve is smoothed over; Farbood's model takes attention to
    span about 3 s (2012, from memory)."""
    build_from: Share = 0.2
    """Rise, from phrase to phrase smoothed over three, that is a build. With this and the next ones a minute
    of corpus solos has 0.5 builds, 1.2 peaks and 0.6 releases; in any other order it has nearly as many."""
    build_phrases: Annotated[int, Field(ge=2)] = 3
    """Phrases that it takes at least: two are a contrast (our choice)."""
    peak_from: Share = 0.15
    """Prominence of a peak of that curve."""
    release_from: Share = 0.25
    """Drop from a peak, from phrase to phrase, that is a release."""
    release_phrases: Annotated[int, Field(ge=1)] = 2
    """Phrases after the peak within which it drops (our choice)."""

    @model_validator(mode="after")
    def _something_weighs(self) -> Self:
        parts = ("groove", "density", "register", "dynamics", "held", "harmony")
        if not any(getattr(self, f"{name}_weight") for name in parts):
            raise PydanticCustomError(CONTRADICTION, "one weight at least must lie above 0")
        return self


class VarietySettings(_Section):
    """How the variety score is taken."""

    phrases_from: Annotated[int, Field(ge=2)] = 4
    """Fewer phrases get no score."""
    resamples: Annotated[int, Field(ge=50, le=10_000)] = 400
    """Bootstrap resamples (Efron & Tibshirani 1993: 200 or more for a standard error, from memory)."""
    interval: Annotated[float, Field(gt=0, lt=1)] = 0.8
    """Share of the resamples between ``low`` and ``high``."""


class RelationSettings(_Section):
    """When a phrase varies an earlier one, and when it may answer the one before."""

    look_back: Annotated[int, Field(ge=1, le=512)] = 64
    """Earlier phrases that are compared: with 8, one in nine of the variations found in annotated solos is
    lost, and hardly one lies further back than 64."""
    by_chance: Annotated[float, Field(gt=0, le=0.2)] = 0.015
    """Share of phrases that may be called variations though they are none: of phrases among those of other
    solos, 1.5 % are."""
    answer_gap_s: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)] = 2.0
    """A longer silence ends the conversation; one corpus rest between phrases in twenty is longer."""


CountsFrom = Literal["auto", "take", "session"]
"""What positions count from: the take's start, or the session's zero. ``auto`` is the session where its own
tempo map is known, for a file that states that map fits nowhere else; otherwise the take."""


LabelName = Literal["length", "density", "groove", "articulation", "register", "interval_size"]
"""What each phrase has a label for."""
MARKED: tuple[LabelName, ...] = ("length", "density", "groove")


def _once(names: tuple[Name, ...]) -> tuple[Name, ...]:
    """Take what is named twice once."""
    return tuple(dict.fromkeys(names))


MarkerTrack = Literal["first", "last"]
StatedMap = Literal["known", "none", "heard"]
"""Which tempo map a file states: a session's or a take's own where there is one; none, but one tempo; or
else also what was heard, where that can be trusted."""


class MarkerSettings(_Section):
    """The shape of the MIDI marker file."""

    counts_from: CountsFrom = "auto"

    midi_format: Literal[0, 1] = 0
    """One track, or several."""
    track: MarkerTrack = "first"
    """Which of several has the markers."""
    event: Literal["marker", "cue-point"] = "marker"
    labels: Annotated[tuple[LabelName, ...], Field(min_length=1, strict=False), AfterValidator(_once)] = (
        MARKED
    )
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


class CueSettings(_Section):
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


class SessionSettings(_Section):
    """One marker file and one cue list for all takes of a folder, as one session."""

    write: bool = False
    counts_from: Literal["auto", "session", "first-take"] = "auto"
    """Whether the files' zero is the session's or the start of the first take. ``auto`` is the session's,
    unless the time references are a clock's and nothing says what it read there: few sessions start at
    midnight."""
    gap_s: Annotated[float, Field(ge=0, le=3600, allow_inf_nan=False)] = 2.0
    """Between takes that nothing places, which are laid one after another (our choice)."""


class PageSettings(_Section):
    """Listening pages: ``NAME.listen.html`` for each take, ``listen.html`` for all in the output folder."""

    write: bool = False


class PictureSettings(_Section):
    """Pictures: ``NAME.phrases.svg`` for each take, ``phrases.svg`` for all in the output folder."""

    write: bool = False


ChaptersBy = Literal["auto", "phrase", "section"]
Encode = Literal["no", "flac", "ogg"]
FEWEST_CHAPTERS, MOST_CHAPTERS = 2, 255
"""One section is the take itself; a table of contents in ID3 holds 255 (ID3v2 Chapter Frame
Addendum, 3.2)."""


class ChapterSettings(_Section):
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


class ExportSettings(_Section):
    """Files on request, by the names that ``--export`` has for them."""

    write: Annotated[tuple[ExportName, ...], Field(strict=False), AfterValidator(_once)] = ()
    options: dict[str, dict[str, Any]] = {}
    """For exporters of other packages: a section of its own for each, by its name."""


class FolderSettings(_Section):
    """Which files of a folder are takes, and in which order they are heard.

    Patterns are those of a shell, for a file's name, or for the end of its path where they hold a
    slash: ``"*.flac"``, ``"rehearsals/*.wav"``. A take that is named itself is heard whatever they say.
    """

    subfolders: bool = False
    """Take what lies in folders below as well; not in hidden ones, nor behind links."""
    include: Annotated[tuple[Pattern, ...], Field(min_length=1, strict=False)] = ("*",)
    exclude: Annotated[tuple[Pattern, ...], Field(strict=False)] = ()
    """Files, and with ``subfolders`` folders, to leave alone."""
    newest_first: bool = False
    """Hear what was recorded last first."""


class HearingSettings(_Section):
    """How takes are heard, whatever is heard in them."""

    time_limit_s: Annotated[float, Field(ge=1, le=7 * 86_400, allow_inf_nan=False)] = 1800.0
    """How long one take may be worked on. Hearing runs at many times real time: no take a day long comes
    near it, and a file that a library never comes back from holds the others up no longer (our choice)."""


class WatchSettings(_Section):
    """When the watcher takes a recording for finished."""

    settle_s: Annotated[float, Field(ge=0.1, le=3600)] = 2.0
    paused_s: Annotated[float, Field(ge=0, le=86_400)] = 60.0
    """How long a file must stand still that a program still has open for writing: a recorder on pause,
    or a recording program that closes its takes late (our choice; noticed on Linux alone)."""
    poll: bool = False
    """Look for changes at intervals, for network shares that report none."""


def _parses(pattern: str) -> str:
    parse(pattern)
    return pattern


_NAMES = (
    "a pattern with {tune}, {player} or {date}, once each, text between any two of them, and * for what is "
    'neither: "{date} {tune} take*", "{player}/{tune} *"'
)
NamesPattern = Annotated[str, AfterValidator(_parses), Field(json_schema_extra={"allowed": _NAMES})]


class TrendSettings(_Section):
    """How takes are followed over weeks, and when there is enough of them to say something."""

    names: NamesPattern | None = None
    """How takes are named: of their files' names without the ending, or of the end of their paths where it
    holds a slash. Otherwise titles, tags and names tell what they can."""
    takes_from: Annotated[int, Field(ge=2)] = 4
    """Fewer takes make no trend: with three, one odd evening is a third of all there is (our choice)."""
    last_takes: Annotated[int, Field(ge=1)] = 10
    """How many of the last takes are looked through for what to practise: a few evenings (our choice)."""
    phrases_from: Annotated[int, Field(ge=1)] = 30
    """Phrases that these must hold: with fewer, not even what half of all phrases do is surely left out in
    takes that are each of a piece (our choice)."""


class Settings(_Section):
    """Everything in ``takemill.toml``. ``takes`` overrides ``grid`` for names that match a pattern."""

    grid: GridSettings = GridSettings()
    takes: dict[str, GridSettings] = {}
    sound: SoundSettings = SoundSettings()
    labels: LabelSettings = LabelSettings()
    groove: GrooveSettings = GrooveSettings()
    tension: TensionSettings = TensionSettings()
    held: HeldSettings = HeldSettings()
    variety: VarietySettings = VarietySettings()
    relations: RelationSettings = RelationSettings()
    markers: MarkerSettings = MarkerSettings()
    cues: CueSettings = CueSettings()
    session: SessionSettings = SessionSettings()
    page: PageSettings = PageSettings()
    picture: PictureSettings = PictureSettings()
    export: ExportSettings = ExportSettings()
    chapters: ChapterSettings = ChapterSettings()
    folder: FolderSettings = FolderSettings()
    hearing: HearingSettings = HearingSettings()
    watch: WatchSettings = WatchSettings()
    trend: TrendSettings = TrendSettings()

    def grid_for(self, file_name: str) -> GridSettings:
        """Return the grid settings of one take; a later pattern wins over an earlier one."""
        chosen = self.grid.model_dump(exclude_unset=True)
        for pattern, override in self.takes.items():
            if fnmatchcase(file_name, pattern):
                said = override.model_dump(exclude_unset=True)
                gone = {rival for key in said for rival in _RIVALS.get(key, ())}
                chosen = {key: value for key, value in chosen.items() if key not in gone} | said
        return GridSettings(**chosen)
