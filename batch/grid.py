"""The beats and bars under a take, from a session's tempo map or from the settings."""

import statistics
from dataclasses import replace
from itertools import pairwise

from batch.beats.pulse import Pulse
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
        division_note=statistics.mode(_division_note(beat.meter) for beat in beats),
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


def grid_from_pulse(pulse: Pulse, meter: tuple[int, int], *, duration_s: float, source: str) -> Grid:
    """Lay beats found by listening under a take, going on evenly to a beat beyond either end.

    The bar of the first downbeat in the take is bar 1; beats before it are its pick-up. The
    grid has no tempo map: an estimate never becomes the session's.
    """
    beats_s, numbers = list(pulse.beats_s), list(pulse.beat_in_bar)
    first_s, last_s = beats_s[1] - beats_s[0], beats_s[-1] - beats_s[-2]
    while beats_s[0] > 0:
        beats_s.insert(0, beats_s[0] - first_s)
        numbers.insert(0, (numbers[0] - 2) % pulse.beats_per_bar + 1)
    while beats_s[-1] < duration_s:
        beats_s.append(beats_s[-1] + last_s)
        numbers.append(numbers[-1] % pulse.beats_per_bar + 1)
    return Grid(
        source=source,
        tempo_bpm=60 / statistics.median(b - a for a, b in pairwise(beats_s)),
        beats_s=tuple(beats_s),
        beat_in_bar=tuple(numbers),
        first_bar=1 if numbers[0] == 1 else 0,
        beats_per_bar=pulse.beats_per_bar,
        subdivision=_subdivision(MeterChange(0, *meter)),
        division_note=_division_note(MeterChange(0, *meter)),
        swing_ratio=None,
        confidence=pulse.confidence,
    )


def _subdivision(meter: MeterChange) -> int:
    """Return into how many parts the beat falls first: 3 in compound meters, else 2."""
    return 3 if meter.is_compound else 2


def _division_note(meter: MeterChange) -> int:
    """Return which notes the beat falls into: eighths (8) in 4/4 and in 6/8, sixteenths in 7/8."""
    return meter.denominator if meter.is_compound else 2 * meter.denominator
