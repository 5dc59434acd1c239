"""Takes built phrase by phrase, for tests of what phrases do with earlier ones."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from batch.labels import label_phrases
from batch.model import Grid, Note, Phrase, Relation
from batch.relations import relate
from batch.rhythm import Feel, estimate_feel
from batch.settings import GrooveSettings, LabelSettings, RelationSettings

Line = list[tuple[float, float, float]]
"""Notes as (beat from the phrase's start, length in beats, MIDI pitch)."""

BEAT_S = 0.5


def line(pitches: Sequence[float], lengths: Sequence[float], sounding: float = 0.9) -> Line:
    """Return notes one after another, each sounding for a share of its length."""
    starts = np.cumsum([0.0, *lengths[:-1]])
    return [(float(at), sounding * n, p) for at, n, p in zip(starts, lengths, pitches, strict=True)]


@dataclass(frozen=True)
class Built:
    """A take: its notes, and where its phrases are."""

    notes: list[Note]
    phrases: list[Phrase]

    def grid(self, beats_per_bar: int = 4) -> Grid:
        """Return the beats it was built on."""
        count = int(self.notes[-1].offset_s / BEAT_S) + 2
        return Grid(
            source="test",
            tempo_bpm=60 / BEAT_S,
            beats_s=tuple(i * BEAT_S for i in range(count)),
            beat_in_bar=tuple(1 + i % beats_per_bar for i in range(count)),
            beats_per_bar=beats_per_bar,
            swing_ratio=None,
            confidence=1.0,
        )

    def related(self, grid: Grid | None = None, **settings: float) -> tuple[Relation, ...]:
        """Return what each phrase does."""
        labels = label_phrases(
            self.notes, self.phrases, grid, None, labels=LabelSettings(), groove=GrooveSettings()
        )
        onsets_s = np.array([note.onset_s for note in self.notes])
        feel = estimate_feel(onsets_s, grid) if grid else Feel(None, 0.0)
        return relate(
            self.notes,
            self.phrases,
            [one for _, one in labels],
            grid=grid,
            feel=feel,
            settings=RelationSettings(**settings),
        )

    def as_heard(self, seed: int = 1, *, onset_s: float = 0.015, cents: float = 30) -> "Built":
        """Return it with onsets up to so far out of place, and pitches up to so far out of tune."""
        rng = np.random.default_rng(seed)
        notes = []
        for note in self.notes:
            late, off = rng.uniform(-onset_s, onset_s), rng.uniform(-cents, cents) / 100
            notes.append(
                replace(note, onset_s=max(0.0, note.onset_s + late), pitch_midi=note.pitch_midi + off)
            )
        return Built(notes, self.phrases)


def take(*parts: Line, starts: Sequence[float] | None = None, every: float = 8.0) -> Built:
    """Return a take of these phrases, which start at the beats given or one ``every`` so many."""
    notes: list[Note] = []
    phrases = []
    for i, part in enumerate(parts):
        at = starts[i] if starts is not None else 4 + every * i
        first = len(notes)
        notes += [
            Note((at + beat) * BEAT_S, (at + beat + length) * BEAT_S, float(p), -12.0)
            for beat, length, p in part
        ]
        end_s = max(note.offset_s for note in notes[first:])
        phrases.append(Phrase(notes[first].onset_s, end_s, first, len(notes) - 1))
    return Built(notes, phrases)
