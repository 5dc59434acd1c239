"""A tempo map as one take has it: cut where the take starts, so that its tick 0 is the take's first moment.

A recording program counts bars from its own zero. Where a take starts inside a bar, the cut map
states a shorter first bar (a pick-up), and after it the bar lines fall on the music's.
"""

from dataclasses import replace
from typing import TypeVar

from batch.tempo import MeterChange, TempoChange, TempoMap

ON_LINE_S = 0.001
"""A start this close to a bar line or a beat is on it: positions are told to this (our choice)."""

_SLOWEST_US_PER_QUARTER = 0xFFFFFF
"""The slowest tempo that can be stated (Standard MIDI Files 1.0: three bytes)."""


def cut_at(tempo_map: TempoMap, start_s: float) -> TempoMap:
    """Return ``tempo_map`` as heard from ``start_s`` on, which may lie before its zero.

    The first bar is as many beats long as lie before the music's next bar line, rounded: programs
    want tempo changes on beats. Its one tempo is such that it ends on that line to the
    microsecond. A first bar of no beat would be none, so it takes in the whole bar after it. Tempo
    changes within the first bar are evened out; times stay right, for they are counted on the
    map returned.
    """
    start = tempo_map.ticks_at(start_s)
    begins, ends = tempo_map.bar_around(start)
    if tempo_map.seconds_at(ends) - start_s <= ON_LINE_S:
        start, begins = ends, ends
    if start_s - tempo_map.seconds_at(begins) <= ON_LINE_S:
        return _from(tempo_map, begins, 0, (), ())
    if not _beats(tempo_map, begins, ends - start):
        start = begins = ends
        ends = tempo_map.bar_around(begins)[1]
    meter, _ = tempo_map.meter_at(begins)
    first = _meter_of(max(1, _beats(tempo_map, begins, ends - start)), meter)
    quarters = 4 * first.numerator / first.denominator
    us = _fitting(tempo_map.seconds_at(ends) - start_s, quarters, tempo_map.tempo_at(ends, before=True))
    ticks = round(quarters * tempo_map.ticks_per_quarter)
    return _from(tempo_map, ends, ticks, (TempoChange(0, us),), (first,))


def _beats(tempo_map: TempoMap, bar: float, ticks: float) -> int:
    """Return ``ticks`` in beats of the bar at tick ``bar``, rounded."""
    numerator, denominator = _beat_of(tempo_map.meter_at(bar)[0])
    return round(ticks / tempo_map.ticks_per_quarter / 4 * denominator / numerator)


def _beat_of(meter: MeterChange) -> tuple[int, int]:
    """Return the felt beat as a fraction of a whole note, a quarter at most where it is no dotted note."""
    return (3, meter.denominator) if meter.is_compound else (1, max(4, meter.denominator))


def _meter_of(beats: int, meter: MeterChange) -> MeterChange:
    """Return a bar of ``beats``, in the notes of ``meter`` where it can be."""
    numerator, denominator = _beat_of(meter)
    count = beats * numerator
    while count % 2 == 0 and denominator > meter.denominator:
        count, denominator = count // 2, denominator // 2
    return MeterChange(0, count, denominator)


def _fitting(lasts_s: float, quarters: float, stated: TempoChange) -> int:
    """Return the tempo at which ``quarters`` last ``lasts_s``: the map's own where that is near enough."""
    if abs(quarters * stated.us_per_quarter / 1e6 - lasts_s) <= ON_LINE_S:
        return stated.us_per_quarter
    return min(_SLOWEST_US_PER_QUARTER, max(1, round(lasts_s * 1e6 / quarters)))


def _from(
    tempo_map: TempoMap,
    line: float,
    to_tick: int,
    tempos: tuple[TempoChange, ...],
    meters: tuple[MeterChange, ...],
) -> TempoMap:
    """Return what ``tempo_map`` states from the bar line on, with that line moved to ``to_tick``."""
    shift, from_tick = to_tick - round(line), max(0, line)
    tempo = replace(tempo_map.tempo_at(line), tick=to_tick)
    meter = replace(tempo_map.meter_at(line)[0], tick=to_tick)
    later_tempos = (replace(c, tick=c.tick + shift) for c in tempo_map.tempos if c.tick > from_tick)
    later_meters = (replace(m, tick=m.tick + shift) for m in tempo_map.meters if m.tick > from_tick)
    return replace(
        tempo_map,
        tempos=_without_repeats((*tempos, tempo, *later_tempos)),
        meters=_without_repeats((*meters, meter, *later_meters)),
        ends_tick=None,
    )


Change = TypeVar("Change", TempoChange, MeterChange)


def _without_repeats(changes: tuple[Change, ...]) -> tuple[Change, ...]:
    """Leave out the second change where it changes nothing."""
    if len(changes) > 1 and changes[1] == replace(changes[0], tick=changes[1].tick):
        return changes[:1] + changes[2:]
    return changes
