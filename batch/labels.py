"""The words for a phrase, and the numbers they come from."""

import dataclasses
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from batch.groove import Rub, Verdict, judge
from batch.model import (
    Articulation,
    Density,
    Evidence,
    Grid,
    Groove,
    IntervalSize,
    Labels,
    Length,
    Note,
    Phrase,
    Register,
    notes_of,
)
from batch.rhythm import beat_positions
from batch.settings import GrooveSettings, LabelSettings

LEAP_FROM_SEMITONES = 2.5
"""Intervals over two semitones are leaps; heard pitches are fractional, so the line is halfway to three."""

RANGE_ENDS = (0.05, 0.95)
"""A take's range runs between these quantiles of its pitches, so that one note too far is no range."""
NARROW_RANGE_SEMITONES = 5.0
"""Less than a fourth has no bottom and no top to speak of (our choice)."""


@dataclass(frozen=True, slots=True)
class PitchRange:
    """Where a take's pitches lie: its middle, and the ends of the range that it uses, in MIDI pitches."""

    middle: float
    low: float
    high: float

    @classmethod
    def of(cls, notes: Sequence[Note]) -> "PitchRange":
        """Return the range of a take's notes, of which there must be some."""
        pitches = [note.pitch_midi for note in notes]
        low, high = np.quantile(pitches, RANGE_ENDS)
        return cls(statistics.median(pitches), float(low), float(high))

    def place(self, pitch: float) -> float | None:
        """Return where a pitch lies in the range, 0 to 1; None if that is too narrow to say."""
        width = self.high - self.low
        return min(1.0, max(0.0, (pitch - self.low) / width)) if width >= NARROW_RANGE_SEMITONES else None


def label_phrases(
    notes: Sequence[Note],
    phrases: Sequence[Phrase],
    grid: Grid | None,
    rubs: Sequence[Rub] | None,
    *,
    labels: LabelSettings,
    groove: GrooveSettings,
) -> tuple[tuple[Labels, Evidence], ...]:
    """Return labels and evidence for each phrase; ``rubs`` is None where the groove is unmeasured."""
    if not phrases:
        return ()
    pitches = PitchRange.of(notes)
    each_rub = rubs if rubs is not None else [None] * len(phrases)
    return tuple(
        _label(
            evidence_of(notes_of(p, notes), p, grid, rub, pitches),
            judge(rub, notes_of(p, notes), p.end_s, groove) if rub else None,
            labels,
        )
        for p, rub in zip(phrases, each_rub, strict=True)
    )


def evidence_of(
    notes: Sequence[Note], phrase: Phrase, grid: Grid | None, rub: Rub | None, pitches: PitchRange
) -> Evidence:
    """Measure one phrase of ``notes`` against its grid and the pitches of its take."""
    duration_s = phrase.end_s - phrase.start_s
    duration_beats = None
    if grid is not None:
        start, end = beat_positions(np.array([phrase.start_s, phrase.end_s]), grid)
        duration_beats = float(end - start) * grid.felt_beats
    pitch = statistics.median(note.pitch_midi for note in notes)
    strongest = max(rub.groupings, key=lambda found: found.strength, default=None) if rub else None
    return Evidence(
        duration_s=duration_s,
        duration_beats=duration_beats,
        note_count=len(notes),
        notes_per_beat=len(notes) / duration_beats if duration_beats else None,
        notes_per_s=len(notes) / duration_s,
        articulation=articulation(notes),
        syncopation=rub.syncopation if rub else None,
        grouping=strongest.name if strongest else None,
        off_grid=rub.off_grid if rub else None,
        register=_to_half_semitones(pitch - pitches.middle),
        leap_share=leap_share(notes),
        syncopated_run=(rub.run.strength if rub.run else 0.0) if rub else None,
        grouping_strength=(strongest.strength if strongest else 0.0) if rub else None,
        range_place=pitches.place(pitch),
    )


def _to_half_semitones(interval: float) -> float:
    """Return an interval as medians of semitones have it, so that intonation is no register."""
    return round(2 * interval) / 2


def articulation(notes: Sequence[Note]) -> float | None:
    """Return the median of note duration over inter-onset interval; None for a lone note."""
    ratios = [(a.offset_s - a.onset_s) / (b.onset_s - a.onset_s) for a, b in pairwise(notes)]
    return min(1.0, statistics.median(ratios)) if ratios else None


def leap_share(notes: Sequence[Note]) -> float | None:
    """Return the share of melodic intervals over two semitones; None for a lone note."""
    leaps = [abs(b.pitch_midi - a.pitch_midi) > LEAP_FROM_SEMITONES for a, b in pairwise(notes)]
    return sum(leaps) / len(leaps) if leaps else None


def _label(evidence: Evidence, verdict: Verdict | None, limits: LabelSettings) -> tuple[Labels, Evidence]:
    length, length_from = _in_beats_or_seconds(
        evidence.duration_beats, limits.long_from_beats, evidence.duration_s, limits.long_from_s
    )
    density, dense_from = _in_beats_or_seconds(
        evidence.notes_per_beat, limits.dense_from_per_beat, evidence.notes_per_s, limits.dense_from_per_s
    )
    # One note has no density of its own, however short it is.
    dense = density >= dense_from and evidence.note_count > 1
    words = Labels(
        length=Length.LONG if length >= length_from else Length.SHORT,
        density=Density.DENSE if dense else Density.SPARSE,
        groove=verdict.groove if verdict else Groove.UNMEASURED,
        articulation=_articulation_label(evidence, limits),
        register=_register_label(evidence, limits),
        interval_size=_interval_label(evidence, limits),
    )
    near = {
        "length": _near(length, length_from, limits.borderline),
        "density": _near(density, dense_from, limits.borderline) and evidence.note_count > 1,
        "groove": verdict is not None and _near(verdict.tension, 1.0, limits.borderline),
        "articulation": _is_near(evidence.articulation, (limits.legato_from,), limits.borderline),
        "register": _is_near(evidence.range_place, (limits.low_below, limits.high_from), limits.borderline),
        "interval_size": _is_near(evidence.leap_share, (limits.leaps_from,), limits.borderline),
    }
    borderline = tuple(name for name, is_near in near.items() if is_near)
    devices = verdict.devices if verdict else ()
    return words, dataclasses.replace(evidence, borderline=borderline, devices=devices)


def _articulation_label(evidence: Evidence, limits: LabelSettings) -> Articulation:
    if evidence.articulation is None:
        return Articulation.UNMEASURED
    return Articulation.LEGATO if evidence.articulation >= limits.legato_from else Articulation.STACCATO


def _register_label(evidence: Evidence, limits: LabelSettings) -> Register:
    if evidence.range_place is None or limits.low_below <= evidence.range_place < limits.high_from:
        return Register.MIDDLE
    return Register.LOW if evidence.range_place < limits.low_below else Register.HIGH


def _interval_label(evidence: Evidence, limits: LabelSettings) -> IntervalSize:
    if evidence.leap_share is None:
        return IntervalSize.UNMEASURED
    return IntervalSize.LEAPS if evidence.leap_share >= limits.leaps_from else IntervalSize.STEPS


def _is_near(value: float | None, thresholds: Sequence[float], within: float) -> bool:
    return value is not None and any(_near(value, threshold, within) for threshold in thresholds)


def _in_beats_or_seconds(
    in_beats: float | None, beats_from: float, in_seconds: float, seconds_from: float
) -> tuple[float, float]:
    return (in_seconds, seconds_from) if in_beats is None else (in_beats, beats_from)


def _near(value: float, threshold: float, within: float) -> bool:
    return math.isclose(value, threshold, rel_tol=0, abs_tol=within * threshold)
