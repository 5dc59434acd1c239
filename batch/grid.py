"""The beats and bars under a take, from a session's tempo map or from the settings."""

import statistics
from dataclasses import replace
from itertools import pairwise

from batch.beats.pulse import Pulse
from batch.model import Grid
from batch.tempo import TICKS_PER_QUARTER, MeterChange, TempoMap

STATED = 1.0
"""Confidence in a grid that the player or the session states."""


BEATS_OF_PACE = 8
"""So many beats tell the pace that goes on beyond what was heard: two bars of four (our choice)."""


def grid_from_map(
    tempo_map: TempoMap, *, duration_s: float, starts_at_s: float, source: str, spans_session: bool = False
) -> Grid:
    """Lay a map under a take that starts ``starts_at_s`` into it, below 0 if before its zero.

    The grid covers the take with a beat to spare on either side. ``spans_session`` says that the
    map counts from the session's zero, and is not the take's alone.
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
        spans_session=spans_session,
    )


def grid_from_tempo(
    tempo_bpm: float,
    meter: tuple[int, int],
    *,
    duration_s: float,
    first_downbeat_s: float,
    source: str,
    count_in_bars: int = 0,
) -> Grid:
    """Lay a steady tempo under a take whose first downbeat heard is at ``first_downbeat_s``.

    Bar 1 starts ``count_in_bars`` later; the bars before it are bar 0, -1 and so on, as notes before
    the first downbeat lie in the bar before (common practice of numbering a pick-up, no source).
    """
    tempo_map = TempoMap.constant(tempo_bpm, meter, TICKS_PER_QUARTER)
    grid = grid_from_map(tempo_map, duration_s=duration_s, starts_at_s=-first_downbeat_s, source=source)
    return replace(grid, first_bar=grid.first_bar - count_in_bars)


def map_warnings(grid: Grid | None, *, duration_s: float) -> tuple[str, ...]:
    """Return what the player should know of the map under a take: whether it ends before the take does.

    A map of one tempo and one meter goes on as it is, wherever its file ends; of one whose tempo changes,
    more than a bar may be missing.
    """
    tempo_map = grid.tempo_map if grid else None
    if grid is None or tempo_map is None or tempo_map.ends_tick is None or not grid.spans_session:
        return ()
    if len(tempo_map.tempos) == len(tempo_map.meters) == 1:
        return ()
    begins, ends = tempo_map.bar_around(tempo_map.ends_tick)
    bar_s = tempo_map.seconds_at(ends) - tempo_map.seconds_at(begins)
    ends_s = tempo_map.seconds_at(tempo_map.ends_tick)
    if grid.starts_at_s + duration_s - ends_s <= bar_s:
        return ()
    last = 60e6 / tempo_map.tempos[-1].us_per_quarter
    where = (
        "before the take starts" if ends_s < grid.starts_at_s else f"at {_clock(ends_s - grid.starts_at_s)}"
    )
    return (
        f"the tempo map ends {where}, the take at {_clock(duration_s)}: its last tempo,"
        f" {last:.4g} quarters a minute, is taken to go on",
    )


def _clock(time_s: float) -> str:
    minutes, seconds = divmod(int(time_s), 60)
    return f"{minutes}:{seconds:02}"


def grid_from_pulse(pulse: Pulse, meter: tuple[int, int], *, duration_s: float, source: str) -> Grid:
    """Lay beats found by listening under a take, going on evenly to a beat beyond either end.

    They go on at the pace of the last beats there are, which in hand-played sound no single one tells.

    The bar of the first downbeat in the take is bar 1; beats before it are its pick-up. The
    grid has no tempo map: an estimate never becomes the session's.
    """
    beats_s, numbers = list(pulse.beats_s), list(pulse.beat_in_bar)
    lengths = [b - a for a, b in pairwise(beats_s)]
    first_s, last_s = statistics.median(lengths[:BEATS_OF_PACE]), statistics.median(lengths[-BEATS_OF_PACE:])
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


def numbered_from(pulse: Pulse, first_downbeat_s: float, beats_per_bar: int) -> Pulse:
    """Return the beats counted in bars from the one nearest to ``first_downbeat_s``."""
    times = pulse.beats_s
    beat_s = statistics.median(b - a for a, b in pairwise(times))
    at = min(range(len(times)), key=lambda i: abs(times[i] - first_downbeat_s))
    # Beyond the beats there are, they are taken to go on.
    at += round((first_downbeat_s - times[at]) / beat_s)
    numbers = tuple((i - at) % beats_per_bar + 1 for i in range(len(times)))
    return replace(pulse, beat_in_bar=numbers, beats_per_bar=beats_per_bar)


def _subdivision(meter: MeterChange) -> int:
    """Return into how many parts the beat falls first: 3 in compound meters, else 2."""
    return 3 if meter.is_compound else 2


def _division_note(meter: MeterChange) -> int:
    """Return which notes the beat falls into: eighths (8) in 4/4 and in 6/8, sixteenths in 7/8."""
    return meter.denominator if meter.is_compound else 2 * meter.denominator
