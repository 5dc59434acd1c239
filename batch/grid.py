"""The beats and bars under a take, from a session's tempo map or from the settings."""

import statistics
from dataclasses import replace
from itertools import pairwise

from batch.model import Grid
from batch.tempo import MeterChange, TempoMap

TICKS_PER_QUARTER = 960
"""Resolution of a map made from the settings (common practice of recording programs, no source)."""

STATED = 1.0
"""Confidence in a grid that the player or the session states."""


def grid_from_map(tempo_map: TempoMap, *, duration_s: float, starts_at_s: float, source: str) -> Grid:
    """Lay a session's map under a take that starts ``starts_at_s`` into the session.

    The grid covers the take with a beat to spare on either side.
    """
    beats = list(tempo_map.beats(starts_at_s, starts_at_s + duration_s))
    times = tuple(beat.time_s - starts_at_s for beat in beats)
    return Grid(
        source=source,
        tempo_bpm=60 / statistics.median(b - a for a, b in pairwise(times)),
        beats_s=times,
        beat_in_bar=tuple(beat.beat for beat in beats),
        first_bar=beats[0].bar,
        beats_per_bar=statistics.mode(beat.meter.beats_per_bar for beat in beats),
        subdivision=statistics.mode(_subdivision(beat.meter) for beat in beats),
        swing_ratio=None,
        confidence=STATED,
        tempo_map=tempo_map,
        starts_at_s=starts_at_s,
    )


def grid_from_tempo(
    tempo_bpm: float, meter: tuple[int, int], *, duration_s: float, first_downbeat_s: float, source: str
) -> Grid:
    """Lay a steady tempo under a take, with bar 1 at ``first_downbeat_s``.

    The map kept for the session counts from the take's start: a player who drops a take at
    the session's zero finds the markers where the take has them.
    """
    tempo_map = TempoMap.constant(tempo_bpm, meter, TICKS_PER_QUARTER)
    grid = grid_from_map(tempo_map, duration_s=duration_s, starts_at_s=-first_downbeat_s, source=source)
    return replace(grid, starts_at_s=0.0)


def _subdivision(meter: MeterChange) -> int:
    """Return into how many parts the beat falls first: 3 in compound meters, else 2."""
    return 3 if meter.is_compound else 2
