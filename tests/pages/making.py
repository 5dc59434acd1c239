"""Takes to look at: a small recording in one folder, its page in another, as a run leaves them."""

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile
from building import NEW, analysis_of, evidence, grid_of, take_info

from batch.entry import Entry, State, summarise
from batch.model import (
    Analysis,
    Density,
    Groove,
    LabelledPhrase,
    Labels,
    Length,
    Note,
    TakeInfo,
    Variety,
    Waveform,
)
from batch.outline import outline_of
from batch.overview import Listed
from batch.rank import Place
from batch.sound.peaks import Peaks
from exporters.page import TakePage

RATE_HZ = 8000
PARTS = ("length", "density", "articulation", "groove", "register", "interval_size")
GROOVES = {"in": Groove.IN_GROOVE, "against": Groove.AGAINST_GROOVE, "none": Groove.UNMEASURED}

PHRASES = (
    "short dense in",
    "long sparse against",
    "short sparse in",
    "long sparse in",
    "long dense against",
    "short dense against",
    "long sparse in",
    "short sparse against",
)
"""A take in eight phrases: 2, 4 and 7 are long and sparse; 2, 5, 6 and 8 against the groove."""


def labels_of(words: str) -> Labels:
    """Return labels said in short: ``long sparse against``."""
    length, density, groove = words.split()
    return Labels(Length(length), Density(density), GROOVES[groove])


def phrases_of(
    kinds: Sequence[str], *, every_s: float = 1.0, lasting_s: float = 0.5
) -> tuple[LabelledPhrase, ...]:
    """Return phrases at regular times, the first half a step in, each of one note."""
    starts = [every_s * (i + 0.5) for i in range(len(kinds))]
    return tuple(
        LabelledPhrase(start, start + lasting_s, i, i, labels_of(kind), evidence(lasting_s), NEW)
        for i, (start, kind) in enumerate(zip(starts, kinds, strict=True))
    )


def variety_of(score: float = 61.0) -> Variety:
    """Return a variety whose parts differ, one of them unmeasured."""
    values = [12.0, 34.0, 56.0, None, 78.0, 90.0]
    return Variety(score, score - 4, score + 6, dict(zip(PARTS, values, strict=True)))


def take_of(
    kinds: Sequence[str] = PHRASES,
    *,
    take: TakeInfo | None = None,
    variety: Variety | None = None,
    has_grid: bool = True,
    warnings: tuple[str, ...] = (),
) -> Analysis:
    """Return a take of these phrases, one a second, at 120 beats a minute."""
    phrases = phrases_of(kinds)
    duration_s = len(kinds) + 1.0
    beats = np.arange(0, duration_s, 0.5)
    return analysis_of(
        phrases,
        grid=grid_of(beats, [1 + i % 4 for i in range(len(beats))]) if has_grid else None,
        take=take or take_info(duration_s=duration_s, rate_hz=RATE_HZ, title="Evening take"),
        variety=variety or variety_of(),
        warnings=warnings,
    )


def long_take(phrases: int = 2000, notes_each: int = 15, every_s: float = 5.4) -> Analysis:
    """Return a take of three hours in phrases of scales, on a grid of 120 beats a minute."""
    starts = [every_s * i for i in range(phrases)]
    notes = tuple(
        Note(start + 0.2 * k, start + 0.2 * k + 0.15, 57.0 + (i + k) % 24, -20.0 - k, 0.9)
        for i, start in enumerate(starts)
        for k in range(notes_each)
    )
    kinds = [labels_of(PHRASES[i % len(PHRASES)]) for i in range(phrases)]
    lasting_s = 0.2 * notes_each
    lines = tuple(
        LabelledPhrase(
            start,
            start + lasting_s,
            notes_each * i,
            notes_each * (i + 1) - 1,
            kinds[i],
            evidence(lasting_s),
            NEW,
        )
        for i, start in enumerate(starts)
    )
    duration_s = every_s * phrases
    beats = np.arange(0, duration_s, 0.5)
    grid = grid_of(beats, [1 + i % 4 for i in range(len(beats))])
    take = take_info(duration_s=duration_s, rate_hz=RATE_HZ, title="Three hours")
    return replace(analysis_of(lines, grid=grid, take=take, variety=variety_of()), notes=notes)


def sound_of(analysis: Analysis) -> np.ndarray:
    """Return a recording in which each note is a sine."""
    samples = np.zeros(round(analysis.take.duration_s * RATE_HZ), dtype=np.float32)
    for note in analysis.notes:
        first, last = round(note.onset_s * RATE_HZ), round(note.offset_s * RATE_HZ)
        hz = 440 * 2 ** ((note.pitch_midi - 69) / 12)
        samples[first:last] = 0.3 * np.sin(2 * np.pi * hz * np.arange(last - first) / RATE_HZ)
    return samples


def waveform_of(samples: np.ndarray) -> Waveform | None:
    """Return a recording's outline, as hearing it makes one."""
    peaks = Peaks()
    peaks.start(RATE_HZ)
    peaks.add(samples[:, np.newaxis])
    return peaks.waveform()


def put(folder: Path, analysis: Analysis, *, recorded: bool = True) -> Path:
    """Write a take's recording and its page as a run does; return where the page is."""
    file, out = folder / "takes" / analysis.take.file, folder / "out"
    for each in (file.parent, out):
        each.mkdir(exist_ok=True)
    if analysis.take.sample_rate_hz is not None:
        samples = sound_of(analysis)
        analysis = replace(analysis, waveform=waveform_of(samples))
        if recorded:
            soundfile.write(file, samples, RATE_HZ, format="WAV")
    way = os.path.relpath(file, out).replace(os.sep, "/")
    page = out / f"{file.stem}{TakePage().suffix}"
    page.write_bytes(TakePage().render(replace(analysis, take=replace(analysis.take, recording=way))))
    return page


def listed_of(analysis: Analysis, place: int = 1, **more: object) -> Listed:
    """Return a take as a folder's page lists it, with all files that a run may write."""
    take, variety = analysis.take, analysis.variety
    name = Path(take.file).stem
    entry = summarise(Entry(Path("/takes") / take.file, State.DONE, name=name), analysis)
    files = tuple(name + end for end in (TakePage().suffix, ".markers.mid", ".cues.csv", ".analysis.json"))
    where = Place(str(entry.path), variety.score, place, place)
    return Listed(replace(entry, **more), where, outline_of(analysis), files, f"../takes/{take.file}")
