"""The values that pass between stages, and the analysis they end in.

Field names are those of the published file format ``takemill.analysis/1``: what stands
here is what a reader of ``NAME.analysis.json`` finds. Times are seconds from the start of
the take's audio.
"""

from base64 import b64decode
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from itertools import pairwise

from batch.tempo import TempoMap

SCHEMA = "takemill.analysis/1"
DECIMALS = 6
"""Of times that are stored: microseconds, finer than any recording's clock."""

UNMEASURED = "unmeasured"
"""Said of a label for which there is nothing to measure."""

IN_PASSING_BELOW = 0.5
"""Less of the longer phrase than this is taken up in passing; it is not that phrase varied (our choice)."""

_EIGHTHS = 8


class Length(StrEnum):
    """How long a phrase is against the median phrase."""

    SHORT = "short"
    LONG = "long"


class Density(StrEnum):
    """How many notes a phrase packs into its time."""

    SPARSE = "sparse"
    DENSE = "dense"


class Groove(StrEnum):
    """Whether a phrase states the meter or rubs against it."""

    IN_GROOVE = "in-groove"
    AGAINST_GROOVE = "against-groove"
    UNMEASURED = "unmeasured"


class Articulation(StrEnum):
    """Whether notes are held up to the next or let go early; a lone note has none."""

    LEGATO = "legato"
    STACCATO = "staccato"
    UNMEASURED = "unmeasured"


class Register(StrEnum):
    """Where a phrase lies in the range that the player uses in the take."""

    LOW = "low"
    MIDDLE = "middle"
    HIGH = "high"


class IntervalSize(StrEnum):
    """Whether a phrase moves by steps or by leaps; a lone note does neither."""

    STEPS = "steps"
    LEAPS = "leaps"
    UNMEASURED = "unmeasured"


class RelationKind(StrEnum):
    """What a phrase does with an earlier one."""

    NEW = "new"
    VARIES = "varies"
    ANSWERS = "answers"


@dataclass(frozen=True, slots=True)
class Note:
    """One heard note. ``pitch_midi`` may be fractional; loudness is dB below full scale."""

    onset_s: float
    offset_s: float
    pitch_midi: float
    loudness_db: float
    confidence: float = 1.0

    def __post_init__(self) -> None:
        if not self.offset_s > self.onset_s:
            raise ValueError(f"a note must end after it starts, got {self.onset_s} to {self.offset_s} s")


@dataclass(frozen=True, slots=True)
class Grid:
    """Beats and bars under a take.

    ``beat_in_bar`` counts from 1; the first beat lies in bar ``first_bar``. ``subdivision`` is
    into how many parts a beat falls first: 2, or 3 in compound meters, and ``division_note``
    what notes these are: 8 for eighths. ``tempo_bpm`` is the median over the take, in felt beats.
    ``tempo_map`` is the map that the beats were counted on, and ``starts_at_s`` says where in it the
    take begins, below 0 if before its zero. ``spans_session`` tells the session's own map, which counts
    from the session's zero, from one that is only the take's. Beats found by listening have no map.
    A grid that is not ``trusted`` is told, but nothing is measured or counted on it.
    """

    source: str
    tempo_bpm: float
    beats_s: tuple[float, ...]
    beat_in_bar: tuple[int, ...]
    beats_per_bar: int
    swing_ratio: float | None
    confidence: float
    first_bar: int = 1
    subdivision: int = 2
    division_note: int = 8
    tempo_map: TempoMap | None = None
    starts_at_s: float = 0.0
    spans_session: bool = False
    trusted: bool = True

    def __post_init__(self) -> None:
        if len(self.beats_s) < 2:  # noqa: PLR2004  one beat has no length
            raise ValueError("a grid needs at least two beats")
        if len(self.beats_s) != len(self.beat_in_bar):
            raise ValueError("beats_s and beat_in_bar must have one entry a beat")
        if any(b <= a for a, b in pairwise(self.beats_s)):
            raise ValueError("beats must rise")

    @property
    def felt_beats(self) -> float:
        """How much of a felt beat one of these is: a half where eighths are counted, as in 7/8."""
        return min(1.0, _EIGHTHS / self.division_note)


@dataclass(frozen=True, slots=True)
class Phrase:
    """Notes ``first_note`` to ``last_note`` (inclusive) of the take, said in one breath."""

    start_s: float
    end_s: float
    first_note: int
    last_note: int

    @property
    def span(self) -> slice:
        """The phrase's notes in the take's note list."""
        return slice(self.first_note, self.last_note + 1)

    @property
    def count(self) -> int:
        """How many notes it has."""
        return self.last_note + 1 - self.first_note


@dataclass(frozen=True, slots=True)
class Labels:
    """The words for a phrase; the first three are what it is marked with unless the settings say more."""

    length: Length
    density: Density
    groove: Groove
    articulation: Articulation = Articulation.UNMEASURED
    register: Register = Register.MIDDLE
    interval_size: IntervalSize = IntervalSize.UNMEASURED

    def __str__(self) -> str:
        words = [self.length.value, self.density.value]
        if self.groove is not Groove.UNMEASURED:
            words.append(self.groove.value)
        return " ".join(words)


@dataclass(frozen=True, slots=True)
class Device:
    """Something a player does against the meter, named as players do: "off-beats", "threes over eighths".

    It goes out at ``start_s`` and is back at ``end_s``, the onset of the first note after it; where
    none follows, the end of the phrase.
    """

    name: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Evidence:
    """The numbers behind a phrase's labels; None where there is no grid or nothing to measure.

    ``syncopation`` is the share of syncopated notes, ``off_grid`` the mean distance from the
    nearest tatum in tatums (0 on the grid, 0.25 by chance), ``syncopated_run`` how many
    syncopated notes come together, ``grouping`` the strongest group or tuplet across the
    beat and ``grouping_strength`` how much likelier it is than none, in nats. ``devices`` are
    what puts the phrase against the groove, in order.
    ``articulation`` note duration over inter-onset interval, ``register`` semitones from the
    take's median pitch, ``range_place`` where its median pitch lies in the range that the take uses
    (0 its bottom, 1 its top; None where that is too narrow to have a bottom and a top),
    ``leap_share`` the share of melodic intervals over two semitones.
    ``borderline`` names the labels that a small change would turn.
    """

    duration_s: float
    duration_beats: float | None
    note_count: int
    notes_per_beat: float | None
    notes_per_s: float
    articulation: float | None
    syncopation: float | None
    grouping: str | None
    off_grid: float | None
    register: float
    leap_share: float | None
    borderline: tuple[str, ...] = ()
    syncopated_run: float | None = None
    grouping_strength: float | None = None
    devices: tuple[Device, ...] = ()
    range_place: float | None = None


@dataclass(frozen=True, slots=True)
class Relation:
    """What a phrase does with phrase number ``to_phrase`` (from 0); similarity 0 to 1.

    Of a variation, ``kept`` says what stayed ("rhythm", "intervals", "contour", "inversion" for intervals
    upside down), ``transposed`` by how many semitones it lies higher (None where neither intervals nor
    contour are kept), ``stretched`` how many times as long its notes are (None where rhythm is not kept),
    ``notes_kept`` how many notes it takes up, ``notes_left_out`` and ``notes_added`` how it was shortened or
    extended, ``notes_replaced`` how many have another in their place, ``displaced_beats`` how much later in
    the bar it starts, below 0 if earlier (None without a grid, or where the rhythm is another).
    Of an answer, ``contrasts`` says in what it contrasts with the phrase before it. A variation may be
    one too: ``answers_too``.
    """

    kind: RelationKind
    to_phrase: int | None
    similarity: float | None
    kept: tuple[str, ...] = ()
    transposed: int | None = None
    notes_left_out: int = 0
    notes_added: int = 0
    displaced_beats: float | None = None
    contrasts: tuple[str, ...] = ()
    stretched: float | None = None
    notes_replaced: int = 0
    answers_too: bool = False
    notes_kept: int | None = None

    @property
    def kept_share(self) -> float:
        """Return what part of the longer of both phrases is kept; 0 of what is no variation."""
        if self.kind is not RelationKind.VARIES:
            return 0.0
        if not self.notes_kept:  # one that does not say
            return 1.0
        return self.notes_kept / (
            self.notes_kept + self.notes_replaced + max(self.notes_left_out, self.notes_added)
        )

    @property
    def in_passing(self) -> bool:
        """Return whether so little is kept that it is no variation to follow."""
        return self.kept_share < IN_PASSING_BELOW


@dataclass(frozen=True, slots=True)
class Motif:
    """An idea that comes back: the phrases (from 0) that state and vary it, in order, and where it runs."""

    phrases: tuple[int, ...]
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Relatedness:
    """How a take hangs together.

    ``connectedness``, 0 to 100, is the share of the phrases after the first that take up or answer an
    earlier one; None where there are too few phrases, and ``why_null`` says so.
    """

    connectedness: float | None
    motifs: tuple[Motif, ...] = ()
    why_null: str | None = None


class MomentKind(StrEnum):
    """What happens to the tension, and to the groove, over a span of a take."""

    BUILD = "build"
    PEAK = "peak"
    RELEASE = "release"
    OUT = "out"


@dataclass(frozen=True, slots=True)
class Moment:
    """Something to find again: from phrase ``first_phrase`` to ``last_phrase`` (from 0, inclusive).

    A build rises to its last phrase. A peak is one phrase, and ``start_s`` where the curve is highest in it.
    A release falls from its first phrase, where ``start_s`` is, to its last, which starts at ``end_s``.
    ``OUT`` is a run of phrases against the groove, its end where the groove is back in, and ``last_phrase``
    the one that is back (None if none is).
    """

    kind: MomentKind
    start_s: float
    end_s: float
    first_phrase: int
    last_phrase: int | None


@dataclass(frozen=True, slots=True)
class HeldNote:
    """A note (index, from 0) that is held by its take's own standard.

    ``why`` is "long", "repeated" or "emphasised". Of one that is struck again and again, ``note`` is the
    first time and ``last_note`` the last, and it lasts ``duration_s`` from the one to the end of the other.
    ``degree`` is what it is over the chord, such as "#11".
    """

    note: int
    last_note: int
    phrase: int
    duration_s: float
    why: tuple[str, ...]
    degree: str | None = None


@dataclass(frozen=True, slots=True)
class PhraseTension:
    """The tension of one phrase, 0 to 1, and its parts by name, each 0 to 1; None where not measured."""

    value: float
    parts: Mapping[str, float | None] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Tension:
    """How tension moves through a take, 0 to 1.

    ``curve`` has a value at each of ``times_s``; ``phrases`` one entry a phrase. ``weights`` are those of the
    parts that were measured in the take, out of 1.
    """

    times_s: tuple[float, ...]
    curve: tuple[float, ...]
    phrases: tuple[PhraseTension, ...]
    moments: tuple[Moment, ...] = ()
    held: tuple[HeldNote, ...] = ()
    ends_on_peak: bool = False
    weights: Mapping[str, float] = field(default_factory=dict)


class ChordRole(StrEnum):
    """What a note is over the chord that sounds."""

    CHORD_TONE = "chord tone"
    EXTENSION = "extension"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True)
class ChordSpan:
    """A chord of the chart, as written, over its stretch of the take; ``bar`` as the grid counts."""

    symbol: str
    start_s: float
    end_s: float
    bar: int


@dataclass(frozen=True, slots=True)
class Harmony:
    """What the notes are over the chords of a chart.

    ``over``, ``degrees`` and ``roles`` have one entry a note. ``over`` says to which of ``chords`` (from 0) a
    note belongs: the one that sounds as it starts, or that it anticipates. A degree is counted from the
    chord's root ("1", "b7", "#11"), those of a major scale being plain: "7" is the major seventh, in words
    maj7. None where no chord sounds.
    """

    chart: str
    chords: tuple[ChordSpan, ...]
    over: tuple[int | None, ...]
    degrees: tuple[str | None, ...]
    roles: tuple[ChordRole | None, ...]


@dataclass(frozen=True, slots=True)
class LabelledPhrase:
    """A phrase with its labels, their evidence, and its relation to what came before."""

    start_s: float
    end_s: float
    first_note: int
    last_note: int
    labels: Labels
    evidence: Evidence
    relation: Relation


@dataclass(frozen=True, slots=True)
class Variety:
    """How varied a take is, 0 to 100, with bounds; None where it cannot be said, and why.

    ``missing`` says, for each dimension measured, which of its two labels no phrase has.
    """

    score: float | None
    low: float | None
    high: float | None
    parts: Mapping[str, float | None] = field(default_factory=dict)
    why_null: str | None = None
    missing: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


class TextureKind(StrEnum):
    """What is played at once: one line, chords (or double stops) in its place, or a whole band."""

    LINE = "line"
    CHORDS = "chords"
    BAND = "band"


@dataclass(frozen=True, slots=True)
class Texture:
    """How much of a take is one line.

    ``chordal_share`` is the share of ``events`` (attacks with a pitch that could be judged) in which
    pitches start together that are no octaves of one another; ``confidence``, 0 to 1, is how
    sure ``kind`` is.
    """

    kind: TextureKind
    chordal_share: float
    events: int
    confidence: float


@dataclass(frozen=True, slots=True)
class Placement:
    """Where in the session a take starts, and from which ``source`` that is known.

    ``zero_reads_s`` is what the session's clock (a recorder's, a time code) reads at the session's zero.
    """

    starts_at_s: float
    zero_reads_s: float
    source: str


@dataclass(frozen=True, slots=True)
class Waveform:
    """How loud the recording gets, bin by bin, from the start of the take on: for pictures of it.

    ``peaks`` is Base64 (RFC 4648, 4) of a byte a bin: the greatest absolute sample there, of the channels
    that were heard, 255 being ``highest``, of full scale. A bin is ``bin_frames`` at ``rate_hz``.
    """

    bin_frames: int
    rate_hz: int
    highest: float
    peaks: str

    def __post_init__(self) -> None:
        if self.bin_frames < 1 or self.rate_hz < 1:
            raise ValueError("a bin of a waveform must have a length")
        _ = self.levels

    @property
    def bin_s(self) -> float:
        """Return how long a bin is."""
        return self.bin_frames / self.rate_hz

    @property
    def levels(self) -> bytes:
        """Return the peaks as bytes; ValueError if they are not Base64."""
        return b64decode(self.peaks, validate=True)


@dataclass(frozen=True, slots=True)
class TakeInfo:
    """What is known of a take besides its sound. A MIDI take has no rate and no channels.

    ``player`` is who the tags say played it; ``recording`` is the way to its file from the folder that the
    analysis lies in, ``recipe`` the fingerprint of what the hearing depended on besides the file; None
    before an analysis is stored.
    """

    file: str
    duration_s: float
    sample_rate_hz: int | None
    channels: int | None
    title: str | None
    recorded_at: str | None
    time_reference_s: float | None
    content_hash: str
    recording: str | None = None
    recipe: str | None = None
    player: str | None = None


@dataclass(frozen=True, slots=True)
class Analysis:
    """Everything heard in one take; the contract behind ``NAME.analysis.json``.

    ``texture`` is None where too little sounds to say, ``placement`` where nothing says where in the
    session the take lies, ``waveform`` of a MIDI take, ``tension`` of a take without phrases, ``harmony``
    without a chord chart.
    """

    schema: str = field(default=SCHEMA, kw_only=True)
    take: TakeInfo
    grid: Grid | None
    notes: tuple[Note, ...]
    phrases: tuple[LabelledPhrase, ...]
    variety: Variety
    warnings: tuple[str, ...] = ()
    texture: Texture | None = None
    placement: Placement | None = None
    waveform: Waveform | None = None
    relatedness: Relatedness | None = None
    tension: Tension | None = None
    harmony: Harmony | None = None

    @property
    def measured_on(self) -> Grid | None:
        """The grid, if it is to be trusted."""
        return self.grid if self.grid and self.grid.trusted else None


def notes_of(phrase: Phrase | LabelledPhrase, notes: Sequence[Note]) -> Sequence[Note]:
    """Return the notes that ``phrase`` spans."""
    return notes[phrase.first_note : phrase.last_note + 1]
