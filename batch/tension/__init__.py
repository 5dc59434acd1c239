"""How tension builds and is released, from phrase to phrase and over time."""

import math
from collections.abc import Mapping, Sequence

import numpy as np

from batch.model import Grid, Harmony, LabelledPhrase, Note, Phrase, PhraseTension, Tension
from batch.percentiles import Percentiles
from batch.settings import GrooveSettings, HeldSettings, TensionSettings
from batch.tension.curve import curve_of
from batch.tension.held import held_notes, with_degrees
from batch.tension.moments import ends_on_peak, moments_of
from batch.tension.parts import PARTS, Parts, parts_of

__all__ = ["measure_tension"]


def measure_tension(
    notes: Sequence[Note],
    phrases: Sequence[LabelledPhrase],
    grid: Grid | None,
    harmony: Harmony | None,
    *,
    percentiles: Mapping[str, Percentiles],
    settings: TensionSettings,
    groove: GrooveSettings,
    held: HeldSettings,
) -> Tension | None:
    """Return the tension of a take's phrases; None where it has none.

    Parameters
    ----------
    notes, phrases
        Those of the take, labelled.
    grid : Grid or None
        One that is trusted.
    harmony : Harmony or None
        What the notes are over a chord chart.
    percentiles, settings, groove, held
        The scales, the weights and thresholds, where the groove is left, and what is held.
    """
    if not phrases:
        return None
    spans = [Phrase(p.start_s, p.end_s, p.first_note, p.last_note) for p in phrases]
    holds = held_notes(notes, spans, grid, held)
    holds = with_degrees(holds, harmony.degrees) if harmony else holds
    parts = parts_of(
        notes,
        spans,
        [phrase.evidence for phrase in phrases],
        holds,
        harmony,
        percentiles=percentiles,
        settings=settings,
        groove=groove,
    )
    values = parts.of_phrases()
    curve = curve_of(
        notes, parts.of_notes(), phrases[0].start_s, phrases[-1].end_s, smoothed_s=settings.smoothed_s
    )
    times, heights = curve
    return Tension(
        times_s=tuple(times.tolist()),
        curve=tuple(heights.tolist()),
        phrases=_told(values, parts),
        moments=moments_of(phrases, values, curve, settings),
        held=holds,
        ends_on_peak=ends_on_peak(values, settings),
        weights={name: float(w) for name, w in zip(PARTS, parts.weights, strict=True) if w},
    )


def _told(values: np.ndarray, parts: Parts) -> tuple[PhraseTension, ...]:
    return tuple(
        PhraseTension(
            float(value),
            {name: None if math.isnan(part) else float(part) for name, part in zip(PARTS, each, strict=True)},
        )
        for value, each in zip(values, parts.phrases.T, strict=True)
    )
