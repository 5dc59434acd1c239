"""The three words for a phrase, and the numbers they come from."""

import dataclasses
import math
import statistics
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from batch.groove import Rub, Verdict, judge
from batch.model import Density, Evidence, Grid, Groove, Labels, Length, Note, Phrase, notes_of
from batch.rhythm import beat_positions
from batch.settings import GrooveSettings, LabelSettings

LEAP_FROM_SEMITONES = 2.5
"""Intervals over two semitones are leaps; heard pitches are fractional, so the line is halfway to three."""


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
    take_pitch = statistics.median(note.pitch_midi for note in notes)
    each_rub = rubs if rubs is not None else [None] * len(phrases)
    return tuple(
        _label(
            evidence_of(notes_of(p, notes), p, grid, rub, take_pitch),
            judge(rub, notes_of(p, notes), p.end_s, groove) if rub else None,
            labels,
        )
        for p, rub in zip(phrases, each_rub, strict=True)
    )


def evidence_of(
    notes: Sequence[Note], phrase: Phrase, grid: Grid | None, rub: Rub | None, take_pitch: float
) -> Evidence:
    """Measure one phrase of ``notes`` against its grid and the median pitch of its take."""
    duration_s = phrase.end_s - phrase.start_s
    duration_beats = None
    if grid is not None:
        start, end = beat_positions(np.array([phrase.start_s, phrase.end_s]), grid)
        duration_beats = float(end - start) * grid.felt_beats
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
        register=_to_half_semitones(statistics.median(note.pitch_midi for note in notes) - take_pitch),
        leap_share=leap_share(notes),
        syncopated_run=(rub.run.strength if rub.run else 0.0) if rub else None,
        grouping_strength=(strongest.strength if strongest else 0.0) if rub else None,
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
    )
    near = {
        "length": _near(length, length_from, limits.borderline),
        "density": _near(density, dense_from, limits.borderline) and evidence.note_count > 1,
        "groove": verdict is not None and _near(verdict.tension, 1.0, limits.borderline),
    }
    borderline = tuple(name for name, is_near in near.items() if is_near)
    devices = verdict.devices if verdict else ()
    return words, dataclasses.replace(evidence, borderline=borderline, devices=devices)


def _in_beats_or_seconds(
    in_beats: float | None, beats_from: float, in_seconds: float, seconds_from: float
) -> tuple[float, float]:
    return (in_seconds, seconds_from) if in_beats is None else (in_beats, beats_from)


def _near(value: float, threshold: float, within: float) -> bool:
    return math.isclose(value, threshold, rel_tol=0, abs_tol=within * threshold)
