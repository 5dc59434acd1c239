"""The listening pass: one take in, one analysis out, stage by stage."""

from dataclasses import replace
from functools import partial

import numpy as np

from batch.grid import grid_from_map, grid_from_tempo
from batch.groove import rubs
from batch.hearing import Heard, hear
from batch.labels import label_phrases
from batch.model import Analysis, Evidence, Grid, LabelledPhrase, Labels, Note, Phrase, Relation, Variety
from batch.percentiles import load_percentiles
from batch.phrases import split_phrases
from batch.relations import relate
from batch.rhythm import Feel, estimate_feel
from batch.settings import Settings
from batch.sound.condition import Meter
from batch.takes import AudioTake, MidiTake, Take
from batch.tempo import TempoMap
from batch.texture import texture_warnings
from batch.variety import score_variety


def analyse(take: Take, settings: Settings, session_map: TempoMap | None) -> Analysis:
    """Listen to one take.

    Parameters
    ----------
    take : Take
        An opened take.
    settings : Settings
        What the player set for its folder.
    session_map : TempoMap or None
        The tempo map found beside the take or in its folder.

    Raises
    ------
    TakeError
        If the take's sound breaks off or is no sound.
    """
    meter = Meter()
    heard = Heard(take.notes, take.texture) if isinstance(take, MidiTake) else _heard(take, meter)
    notes = heard.notes
    grid = find_grid(take, settings, session_map)
    feel = _feel(notes, grid)
    grid = replace(grid, swing_ratio=feel.swing_ratio) if grid else None
    phrases = split_phrases(notes, beat_s=60 / grid.tempo_bpm if grid else None)
    measured = rubs(notes, phrases, grid, feel) if grid and _trusted(grid, settings) else None
    labelled = label_phrases(notes, phrases, grid, measured, labels=settings.labels, groove=settings.groove)
    return Analysis(
        take=take.info,
        grid=grid,
        notes=notes,
        phrases=_join(phrases, labelled, relate(notes, phrases, labelled)),
        variety=_variety(labelled, settings),
        warnings=(
            *_warnings(take, notes, grid),
            *texture_warnings(heard.texture, notes),
            *_condition(take, meter),
        ),
        texture=heard.texture,
    )


def find_grid(take: Take, settings: Settings, session_map: TempoMap | None) -> Grid | None:
    """Return the grid from the best source there is: session map, MIDI take's own map, settings."""
    chosen = settings.grid_for(take.path.name)
    duration_s = take.info.duration_s
    if session_map is not None:
        return grid_from_map(
            session_map, duration_s=duration_s, starts_at_s=chosen.starts_at_s or 0.0, source="tempo map"
        )
    if isinstance(take, MidiTake):
        return grid_from_map(take.tempo_map, duration_s=duration_s, starts_at_s=0.0, source="midi take")
    if chosen.tempo_bpm is not None:
        return grid_from_tempo(
            chosen.tempo_bpm,
            chosen.meter_pair,
            duration_s=duration_s,
            first_downbeat_s=chosen.first_downbeat_s,
            source="settings",
        )
    return None


def _heard(take: AudioTake, meter: Meter) -> Heard:
    return hear(partial(take.blocks, meter), take.sound.rate_hz)


def _condition(take: Take, meter: Meter) -> tuple[str, ...]:
    return () if isinstance(take, MidiTake) else take.warnings(meter)


def _feel(notes: tuple[Note, ...], grid: Grid | None) -> Feel:
    if grid is None:
        return Feel(None, 0.0)
    return estimate_feel(np.array([note.onset_s for note in notes]), grid)


def _trusted(grid: Grid, settings: Settings) -> bool:
    return grid.confidence >= settings.groove.confidence_from


def _join(
    phrases: tuple[Phrase, ...],
    labelled: tuple[tuple[Labels, Evidence], ...],
    relations: tuple[Relation, ...],
) -> tuple[LabelledPhrase, ...]:
    return tuple(
        LabelledPhrase(p.start_s, p.end_s, p.first_note, p.last_note, labels, evidence, relation)
        for p, (labels, evidence), relation in zip(phrases, labelled, relations, strict=True)
    )


def _variety(labelled: tuple[tuple[Labels, Evidence], ...], settings: Settings) -> Variety:
    return score_variety(
        [evidence for _, evidence in labelled],
        load_percentiles(),
        settings=settings.variety,
        groove=settings.groove,
    )


def _warnings(take: Take, notes: tuple[Note, ...], grid: Grid | None) -> tuple[str, ...]:
    found = []
    if not notes:
        found.append("no notes were heard: the take is silent, or holds no pitched line")
    if grid is None:
        found.append(
            "no grid: give a tempo in takemill.toml, or put NAME.tempo.mid beside the take"
            " (groove unmeasured, length and density in seconds)"
        )
    return tuple(found)
