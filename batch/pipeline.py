"""The listening pass: one take in, one analysis out, stage by stage."""

from dataclasses import replace
from functools import partial

import numpy as np

from batch.absence import told
from batch.grid import map_warnings
from batch.grid_sources import Companion, Sources, find_grid, source_warnings
from batch.groove import rubs
from batch.harmony import Chart, NoChart, chart_choice, chart_warnings, harmony_of
from batch.hearing import Heard, hear
from batch.labels import label_phrases
from batch.model import (
    Analysis,
    Evidence,
    Grid,
    Harmony,
    LabelledPhrase,
    Labels,
    Note,
    Phrase,
    Relation,
    Tension,
    Variety,
)
from batch.percentiles import load_percentiles
from batch.phrases import split_phrases
from batch.placement import place, place_warnings
from batch.playing import Played, only_played
from batch.relations import relate, relatedness
from batch.rhythm import Feel, estimate_feel
from batch.settings import Settings
from batch.sound.condition import Meter
from batch.sound.peaks import Peaks
from batch.takes import MidiTake, Take
from batch.tempo import TempoMap
from batch.tension import measure_tension
from batch.texture import texture_warnings
from batch.variety import missing, score_variety


def analyse(
    take: Take,
    settings: Settings,
    session_map: TempoMap | None,
    companion: Companion | None = None,
    chart: Chart | NoChart | None = None,
) -> Analysis:
    """Listen to one take.

    Parameters
    ----------
    take : Take
        An opened take.
    settings : Settings
        What the player set for its folder.
    session_map : TempoMap or None
        The tempo map found beside the take or in its folder.
    companion : Companion or None
        The click or the backing it was played to.
    chart : Chart, NoChart or None
        The chords it was played over, or what is wrong with them.

    Raises
    ------
    TakeError
        If the take's sound breaks off or is no sound.
    """
    placed = place(take, settings.grid_for(take.path.name), session_map)
    meter, peaks = Meter(), Peaks()
    heard = _heard(take, meter, peaks)
    played = _played(take, heard)
    notes, texture = played.notes, heard.texture if played.notes else None
    sources = Sources(take, settings, session_map, companion)
    found = find_grid(sources, notes)
    feel = _feel(notes, found)
    found = replace(found, swing_ratio=feel.swing_ratio) if found and found.trusted else found
    grid = found if found and found.trusted else None
    phrases = split_phrases(notes, beat_s=60 / grid.tempo_bpm / grid.felt_beats if grid else None)
    measured = rubs(notes, phrases, grid, feel) if grid else None
    labelled = label_phrases(notes, phrases, grid, measured, labels=settings.labels, groove=settings.groove)
    relations = relate(
        notes, phrases, [one for _, one in labelled], grid=grid, feel=feel, settings=settings.relations
    )
    joined = _join(phrases, labelled, relations)
    harmony = harmony_of(notes, chart, grid, chart_choice(sources.chosen))
    return Analysis(
        take=take.info,
        grid=found,
        notes=notes,
        phrases=joined,
        variety=_variety(labelled, settings),
        warnings=(
            *told(played, heard.scene),
            *source_warnings(sources, found),
            *map_warnings(grid, duration_s=take.info.duration_s),
            *chart_warnings(sources.chosen, chart, grid, notes),
            *place_warnings(take.info, placed, grid),
            *texture_warnings(texture, notes),
            *_condition(take, meter),
        ),
        texture=texture,
        placement=placed,
        waveform=peaks.waveform(),
        relatedness=relatedness(phrases, relations, phrases_from=settings.variety.phrases_from),
        tension=_tension(notes, joined, grid, harmony, settings),
        harmony=harmony,
    )


def _heard(take: Take, meter: Meter, peaks: Peaks) -> Heard:
    if isinstance(take, MidiTake):
        return Heard(take.notes, None, take.texture)
    return hear(partial(take.blocks, meter, peaks), take.sound.rate_hz)


def _played(take: Take, heard: Heard) -> Played:
    """Return what was played; in a MIDI take every note was."""
    if heard.scene is None:
        return Played(heard.notes, ())
    return only_played(heard.notes, heard.scene, take.info.duration_s)


def _condition(take: Take, meter: Meter) -> tuple[str, ...]:
    return () if isinstance(take, MidiTake) else take.warnings(meter)


def _feel(notes: tuple[Note, ...], grid: Grid | None) -> Feel:
    if grid is None:
        return Feel(None, 0.0)
    return estimate_feel(np.array([note.onset_s for note in notes]), grid)


def _join(
    phrases: tuple[Phrase, ...],
    labelled: tuple[tuple[Labels, Evidence], ...],
    relations: tuple[Relation, ...],
) -> tuple[LabelledPhrase, ...]:
    return tuple(
        LabelledPhrase(p.start_s, p.end_s, p.first_note, p.last_note, labels, evidence, relation)
        for p, (labels, evidence), relation in zip(phrases, labelled, relations, strict=True)
    )


def _tension(
    notes: tuple[Note, ...],
    phrases: tuple[LabelledPhrase, ...],
    grid: Grid | None,
    harmony: Harmony | None,
    settings: Settings,
) -> Tension | None:
    return measure_tension(
        notes,
        phrases,
        grid,
        harmony,
        percentiles=load_percentiles(),
        settings=settings.tension,
        groove=settings.groove,
        held=settings.held,
    )


def _variety(labelled: tuple[tuple[Labels, Evidence], ...], settings: Settings) -> Variety:
    scored = score_variety(
        [evidence for _, evidence in labelled],
        load_percentiles(),
        settings=settings.variety,
        groove=settings.groove,
    )
    if scored.score is None:
        return scored
    return replace(scored, missing=missing(labelled))
