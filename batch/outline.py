"""What files about many takes need of one: its place and its phrases, without notes and evidence."""

import hashlib
from dataclasses import dataclass

from pydantic import TypeAdapter

from batch.bars import BarCounter
from batch.leaning import groove_tension
from batch.model import Analysis, Grid, LabelledPhrase, Labels, Placement, RelationKind
from batch.settings import GrooveSettings

FORMAT = 3
"""Raised when the fields change, so that outlines kept before are made again."""
_BEAT_STEPS = 1000
"""A beat is told to three decimals, as in a take's own cue list."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A time in bars: bar and beat, and both as text with ticks."""

    bar: int
    beat: float
    text: str


@dataclass(frozen=True, slots=True)
class PhraseOutline:
    """One phrase, in seconds from the take's start and in the bars of its grid.

    ``density`` is in notes a beat, or a second where the take has no grid to count on, ``length`` in beats or
    seconds. The last five are what labels and relation came from: ``tension`` is that of the groove by its
    default settings; None where nothing was measured.
    """

    start_s: float
    end_s: float
    labels: Labels
    density: float
    start: Spot | None = None
    end: Spot | None = None
    length: float = 0.0
    relation: RelationKind = RelationKind.NEW
    similarity: float | None = None
    articulation: float | None = None
    range_place: float | None = None
    leap_share: float | None = None
    tension: float | None = None


@dataclass(frozen=True, slots=True)
class Outline:
    """One take. ``map_print`` is the fingerprint of the session's map that its bars were counted on."""

    duration_s: float
    sample_rate_hz: int | None
    recorded_at: str | None
    time_reference_s: float | None
    placement: Placement | None
    map_print: str | None
    in_beats: bool
    phrases: tuple[PhraseOutline, ...]
    player: str | None = None


_ADAPTER = TypeAdapter(Outline)


def outline_of(analysis: Analysis) -> Outline:
    """Return what files about many takes need of one."""
    take, grid = analysis.take, analysis.grid
    bars = BarCounter.of(grid) if grid else None
    return Outline(
        duration_s=take.duration_s,
        sample_rate_hz=take.sample_rate_hz,
        recorded_at=take.recorded_at,
        time_reference_s=take.time_reference_s,
        placement=analysis.placement,
        map_print=_print_of(grid),
        in_beats=analysis.measured_on is not None,
        phrases=tuple(_phrase(phrase, bars) for phrase in analysis.phrases),
        player=take.player,
    )


def dump_outline(outline: Outline) -> bytes:
    """Return an outline as JSON."""
    return _ADAPTER.dump_json(outline)


def parse_outline(content: bytes) -> Outline:
    """Read an outline back; ValueError if it is none."""
    return _ADAPTER.validate_json(content)


def _phrase(phrase: LabelledPhrase, bars: BarCounter | None) -> PhraseOutline:
    start_s, end_s, evidence = phrase.start_s, phrase.end_s, phrase.evidence
    return PhraseOutline(
        start_s,
        end_s,
        phrase.labels,
        density_of(phrase),
        _spot(start_s, bars),
        _spot(end_s, bars),
        length=evidence.duration_s if evidence.duration_beats is None else evidence.duration_beats,
        relation=phrase.relation.kind,
        similarity=phrase.relation.similarity,
        articulation=evidence.articulation,
        range_place=evidence.range_place,
        leap_share=evidence.leap_share,
        tension=groove_tension(evidence, GrooveSettings()),
    )


def density_of(phrase: LabelledPhrase) -> float:
    """Return a phrase's notes a beat, or a second where that is not known."""
    evidence = phrase.evidence
    return evidence.notes_per_s if evidence.notes_per_beat is None else evidence.notes_per_beat


def _spot(time_s: float, bars: BarCounter | None) -> Spot | None:
    return Spot(*bars.bar_beat(time_s, _BEAT_STEPS), bars.text(time_s)) if bars else None


def _print_of(grid: Grid | None) -> str | None:
    if grid is None or grid.tempo_map is None or not grid.spans_session:
        return None
    return hashlib.blake2b(repr(grid.tempo_map).encode(), digest_size=16).hexdigest()
