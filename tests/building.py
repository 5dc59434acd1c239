"""Analyses made for tests: phrases where a test wants them, everything else plain."""

from collections.abc import Sequence

from batch.model import (
    Analysis,
    Density,
    Evidence,
    Grid,
    Groove,
    LabelledPhrase,
    Labels,
    Length,
    Note,
    Placement,
    Relation,
    RelationKind,
    TakeInfo,
    Texture,
    Variety,
    Waveform,
)
from batch.tempo import TempoMap

LABELS = Labels(Length.LONG, Density.DENSE, Groove.AGAINST_GROOVE)
NEW = Relation(RelationKind.NEW, None, None)


def take_info(
    file: str = "solo.wav",
    *,
    duration_s: float = 7200.0,
    rate_hz: int | None = 48_000,
    title: str | None = None,
) -> TakeInfo:
    """Return a mono take."""
    return TakeInfo(file, duration_s, rate_hz, None if rate_hz is None else 1, title, None, None, "c0ffee")


def evidence(duration_s: float, *, register: float = 0.0, grouping: str | None = None) -> Evidence:
    """Return the evidence of a phrase of one note without a grid."""
    return Evidence(
        duration_s=duration_s,
        duration_beats=None,
        note_count=1,
        notes_per_beat=None,
        notes_per_s=1 / duration_s,
        articulation=None,
        syncopation=None,
        grouping=grouping,
        off_grid=None,
        register=register,
        leap_share=None,
    )


def phrases_at(
    spans_s: Sequence[tuple[float, float]], *, labels: Labels = LABELS, relation: Relation = NEW
) -> tuple[LabelledPhrase, ...]:
    """Return a phrase of one note for each start and end."""
    return tuple(
        LabelledPhrase(start, end, i, i, labels, evidence(end - start), relation)
        for i, (start, end) in enumerate(spans_s)
    )


def analysis_of(
    phrases: tuple[LabelledPhrase, ...],
    *,
    grid: Grid | None = None,
    take: TakeInfo | None = None,
    variety: Variety | None = None,
    warnings: tuple[str, ...] = (),
    texture: Texture | None = None,
    placement: Placement | None = None,
    waveform: Waveform | None = None,
) -> Analysis:
    """Return an analysis of these phrases, a note (A4, -20 dB) under each."""
    return Analysis(
        take=take or take_info(),
        grid=grid,
        notes=tuple(Note(phrase.start_s, phrase.end_s, 69.0, -20.0) for phrase in phrases),
        phrases=phrases,
        variety=variety or Variety(None, None, None, {}, "fewer than 4 phrases"),
        warnings=warnings,
        texture=texture,
        placement=placement,
        waveform=waveform,
    )


def grid_of(
    beats_s: Sequence[float],
    beat_in_bar: Sequence[int],
    *,
    first_bar: int = 1,
    tempo_map: TempoMap | None = None,
    starts_at_s: float = 0.0,
    spans_session: bool | None = None,
) -> Grid:
    """Return a grid of these beats in 4/4; a map is the session's unless it is said not to be."""
    return Grid(
        source="test",
        tempo_bpm=120.0,
        beats_s=tuple(beats_s),
        beat_in_bar=tuple(beat_in_bar),
        beats_per_bar=4,
        swing_ratio=None,
        confidence=1.0,
        first_bar=first_bar,
        tempo_map=tempo_map,
        starts_at_s=starts_at_s,
        spans_session=tempo_map is not None if spans_session is None else spans_session,
    )
