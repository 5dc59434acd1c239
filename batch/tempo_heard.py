"""Beats that were found by listening, as the tempo map of a session that is to follow them."""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from batch.model import Grid
from batch.tempo import TICKS_PER_QUARTER, MeterChange, TempoChange, TempoMap

_TERNARY = 3
_SLOWEST_US_PER_QUARTER = 0xFFFFFF
"""The slowest tempo that can be stated (Standard MIDI Files 1.0: three bytes)."""


def map_of(grid: Grid) -> tuple[TempoMap, float]:
    """Return a map with a tempo a beat, and the time in it at which the take starts, in seconds.

    It begins with a whole bar at or before the take's start, counted back at the pace of the first two beats.
    Beats are met to a few microseconds: what rounding a tempo leaves over goes to the next.
    """
    meter = _meter(grid)
    beats_s, in_bar = _from_a_downbeat(grid)
    ticks = round(meter.quarters_per_beat * TICKS_PER_QUARTER)
    tempos = [TempoChange(i * ticks, us) for i, us in enumerate(_tempos(beats_s, meter.quarters_per_beat))]
    return TempoMap(TICKS_PER_QUARTER, tuple(tempos), tuple(_meters(in_bar, meter, ticks))), -beats_s[0]


def _meter(grid: Grid) -> MeterChange:
    """Return the meter that the grid's beats and their division make: 4/4, 6/8, 7/8."""
    if grid.subdivision == _TERNARY:
        return MeterChange(0, grid.beats_per_bar * _TERNARY, grid.division_note)
    return MeterChange(0, grid.beats_per_bar, grid.division_note // 2)


def _from_a_downbeat(grid: Grid) -> tuple[list[float], list[int]]:
    """Return the beats with as many before them as make whole bars from the take's start on."""
    pace_s = grid.beats_s[1] - grid.beats_s[0]
    back = (grid.beat_in_bar[0] - 1) % grid.beats_per_bar
    while grid.beats_s[0] - back * pace_s > 0:
        back += grid.beats_per_bar
    before_s = [grid.beats_s[0] - number * pace_s for number in range(back, 0, -1)]
    return [*before_s, *grid.beats_s], [*(i % grid.beats_per_bar + 1 for i in range(back)), *grid.beat_in_bar]


def _tempos(beats_s: Sequence[float], quarters: float) -> Iterator[int]:
    now_s = beats_s[0]
    for _, until_s in pairwise(beats_s):
        us = min(_SLOWEST_US_PER_QUARTER, max(1, round((until_s - now_s) * 1e6 / quarters)))
        now_s += us * quarters / 1e6
        yield us


def _meters(in_bar: Sequence[int], usual: MeterChange, ticks: int) -> Iterator[MeterChange]:
    """Yield a meter where bars begin to be of another length than those before; the last is as usual."""
    lines = [i for i, number in enumerate(in_bar) if number == 1]
    unit, last = usual.numerator // usual.beats_per_bar, 0
    lengths = [*(b - a for a, b in pairwise(lines)), usual.beats_per_bar]
    for line, length in zip(lines, lengths, strict=True):
        if length != last:
            yield MeterChange(line * ticks, length * unit, usual.denominator)
        last = length
