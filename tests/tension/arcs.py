"""Takes in which tension goes where a test says: phrases that get faster, higher and louder, or do not."""

from collections.abc import Sequence

import numpy as np

from batch.labels import label_phrases
from batch.model import Harmony, LabelledPhrase, Note, Phrase, Relation, RelationKind, Tension
from batch.percentiles import load_percentiles
from batch.settings import GrooveSettings, HeldSettings, LabelSettings, TensionSettings
from batch.tension import measure_tension

NEW = Relation(RelationKind.NEW, None, None)


def take_of(
    levels: Sequence[float], *, jitter: float = 0.0, seed: int = 1, phrase_s: float = 2.5
) -> tuple[tuple[Note, ...], tuple[LabelledPhrase, ...]]:
    """Return a take of a phrase for each level of tension, 0 to 1, and a second's rest between them.

    From bottom to top a phrase goes from 3 notes a second to 10, from a fifth below the middle to a fifth
    above it, and from 8 dB below to 8 dB above it. ``jitter`` moves each of these at random, as a share.
    """
    rng = np.random.default_rng(seed)
    notes: list[Note] = []
    spans = []
    for number, level in enumerate(levels):
        fast, high, loud = np.clip(level + jitter * rng.uniform(-1, 1, 3), 0, 1)
        start_s, step_s = number * (phrase_s + 1), 1 / (3 + 7 * fast)
        first = len(notes)
        for i in range(max(2, round(phrase_s / step_s))):
            onset = start_s + i * step_s
            pitch = 60 + 14 * (high - 0.5) + (0, 2, 4, 2)[i % 4]
            notes.append(Note(onset, onset + 0.9 * step_s, pitch, -30 + 16 * (loud - 0.5)))
        spans.append(Phrase(start_s, notes[-1].offset_s, first, len(notes) - 1))
    labelled = label_phrases(notes, spans, None, None, labels=LabelSettings(), groove=GrooveSettings())
    return tuple(notes), tuple(
        LabelledPhrase(p.start_s, p.end_s, p.first_note, p.last_note, words, evidence, NEW)
        for p, (words, evidence) in zip(spans, labelled, strict=True)
    )


def tension_of(
    notes: Sequence[Note],
    phrases: Sequence[LabelledPhrase],
    *,
    settings: TensionSettings | None = None,
    harmony: Harmony | None = None,
) -> Tension:
    """Return the tension of a take without a grid."""
    found = measure_tension(
        notes,
        phrases,
        None,
        harmony,
        percentiles=load_percentiles(),
        settings=settings or TensionSettings(),
        groove=GrooveSettings(),
        held=HeldSettings(),
    )
    assert found is not None
    return found
