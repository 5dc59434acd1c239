"""The listening pass: one take in, one analysis out, stage by stage."""

from dataclasses import replace
from functools import partial

import numpy as np

from batch.absence import told
from batch.errors import TakeError
from batch.grid import grid_from_map, grid_from_tempo
from batch.groove import rubs
from batch.hearing import Heard, hear
from batch.labels import label_phrases
from batch.model import Analysis, Evidence, Grid, LabelledPhrase, Labels, Note, Phrase, Relation, Variety
from batch.percentiles import load_percentiles
from batch.phrases import split_phrases
from batch.playing import Played, only_played
from batch.relations import relate
from batch.rhythm import Feel, estimate_feel
from batch.settings import GridSettings, Settings
from batch.sound.condition import Meter
from batch.takes import MidiTake, Take
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
    heard = _heard(take, meter)
    played = _played(take, heard)
    notes, texture = played.notes, heard.texture if played.notes else None
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
            *told(played, heard.scene),
            *_warnings(grid),
            *texture_warnings(texture, notes),
            *_condition(take, meter),
        ),
        texture=texture,
    )


def find_grid(take: Take, settings: Settings, session_map: TempoMap | None) -> Grid | None:
    """Return the grid from the best source there is: session map, MIDI take's own map, settings.

    Raises
    ------
    TakeError
        If the take's time reference puts it before the session's zero.
    """
    chosen = settings.grid_for(take.path.name)
    duration_s = take.info.duration_s
    if session_map is not None:
        starts_at_s = _starts_at_s(take, chosen)
        return grid_from_map(session_map, duration_s=duration_s, starts_at_s=starts_at_s, source="tempo map")
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


def _starts_at_s(take: Take, chosen: GridSettings) -> float:
    """Return where in the session the take starts: as set, as its time reference says, or at zero."""
    if chosen.starts_at_s is not None:
        return chosen.starts_at_s
    if take.info.time_reference_s is None:
        return 0.0
    starts_at_s = take.info.time_reference_s - chosen.session_starts_at_s
    if starts_at_s < 0:
        problem = f"starts {-starts_at_s:,.3f} s before the session's zero by its time reference"
        remedy = "lower grid.session_starts_at_s in takemill.toml, or set grid.starts_at_s"
        raise TakeError(take.path, problem, remedy)
    return starts_at_s


def _heard(take: Take, meter: Meter) -> Heard:
    if isinstance(take, MidiTake):
        return Heard(take.notes, None, take.texture)
    return hear(partial(take.blocks, meter), take.sound.rate_hz)


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


def _warnings(grid: Grid | None) -> tuple[str, ...]:
    if grid is not None:
        return ()
    return (
        "no grid: give a tempo in takemill.toml, or put NAME.tempo.mid beside the take"
        " (groove unmeasured, length and density in seconds)",
    )
