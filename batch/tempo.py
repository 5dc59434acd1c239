"""A session's tempo map: seconds to ticks and back, and where its beats and bars fall."""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from itertools import accumulate, count, pairwise

DEFAULT_US_PER_QUARTER = 500_000
"""120 beats a minute until the first tempo event (Standard MIDI Files 1.0, Set Tempo)."""

TICKS_PER_QUARTER = 960
"""Resolution of a map made from a tempo (common practice of recording programs, no source)."""

_COMPOUND_UNIT = 3
"""Eighths (or sixteenths) to one beat in 6/8, 9/8, 12/8 (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class TempoChange:
    """From ``tick`` on, a quarter lasts ``us_per_quarter`` microseconds."""

    tick: int
    us_per_quarter: int


@dataclass(frozen=True, slots=True)
class MeterChange:
    """From ``tick`` on, a bar holds ``numerator`` notes of 1/``denominator``."""

    tick: int
    numerator: int
    denominator: int

    @property
    def is_compound(self) -> bool:
        """Whether the beat is a dotted note: 6/8, 9/8, 12/8 and the like."""
        return (
            self.denominator >= 8  # noqa: PLR2004  eighths and shorter
            and self.numerator > _COMPOUND_UNIT
            and self.numerator % _COMPOUND_UNIT == 0
        )

    @property
    def beats_per_bar(self) -> int:
        """Felt beats in a bar: 4 in 4/4, 2 in 6/8."""
        return self.numerator // _COMPOUND_UNIT if self.is_compound else self.numerator

    @property
    def quarters_per_beat(self) -> float:
        """Length of the felt beat in quarters: 1 in 4/4, 1.5 in 6/8."""
        return 4 / self.denominator * (_COMPOUND_UNIT if self.is_compound else 1)


@dataclass(frozen=True, slots=True)
class Beat:
    """One felt beat: its time, its bar (the map's first is 1), its number in the bar from 1."""

    time_s: float
    bar: int
    beat: int
    meter: MeterChange


@dataclass(frozen=True, slots=True)
class TempoMap:
    """Tempo and meter over ticks, as a Standard MIDI File states them.

    Both tuples are sorted by tick, without two entries at one tick, and start at tick 0.
    ``ends_tick`` is where the file ended that the map was read from; the last tempo goes on.
    """

    ticks_per_quarter: int
    tempos: tuple[TempoChange, ...] = (TempoChange(0, DEFAULT_US_PER_QUARTER),)
    meters: tuple[MeterChange, ...] = (MeterChange(0, 4, 4),)
    ends_tick: int | None = None
    _starts_s: tuple[float, ...] = field(init=False, repr=False, compare=False)
    _ticks: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if self.ticks_per_quarter < 1:
            raise ValueError(f"ticks_per_quarter must be 1 or more, got {self.ticks_per_quarter}")
        for name, changes in (("tempos", self.tempos), ("meters", self.meters)):
            ticks = [change.tick for change in changes]
            if not ticks or ticks[0] != 0 or any(a >= b for a, b in pairwise(ticks)):
                raise ValueError(f"{name} must start at tick 0 and rise, got ticks {ticks[:5]}")
        if any(change.us_per_quarter < 1 for change in self.tempos):
            raise ValueError("a tempo must be at least 1 microsecond a quarter")
        spans = (
            (b.tick - a.tick) * a.us_per_quarter / self.ticks_per_quarter / 1e6
            for a, b in pairwise(self.tempos)
        )
        object.__setattr__(self, "_starts_s", tuple(accumulate(spans, initial=0.0)))
        object.__setattr__(self, "_ticks", tuple(change.tick for change in self.tempos))

    @classmethod
    def constant(cls, tempo_bpm: float, meter: tuple[int, int], ticks_per_quarter: int) -> "TempoMap":
        """Return a map of one meter and one tempo, in felt beats a minute."""
        change = MeterChange(0, *meter)
        us_per_quarter = round(60e6 / tempo_bpm / change.quarters_per_beat)
        return cls(ticks_per_quarter, (TempoChange(0, us_per_quarter),), (change,))

    def on_beats(self, ticks_per_quarter: int) -> "TempoMap":
        """Return a map in other ticks whose tempo changes on felt beats only, for programs that need that.

        A beat inside which the tempo changes gets one tempo, such that it lasts as long, and
        what rounding to microseconds leaves over goes to the next such beat: every beat keeps
        its time. Of several meters on one of the new ticks the last one counts.
        """
        scale = ticks_per_quarter / self.ticks_per_quarter
        edges = sorted({edge for change in self.tempos for edge in self._beat_around(change.tick)})
        tempos: dict[int, TempoChange] = {}
        now_s = self.seconds_at(edges[0])
        for edge, until in pairwise([*edges, math.inf]):
            tick, us = round(edge * scale), self.tempo_at(edge).us_per_quarter
            if math.isfinite(until) and (ticks := round(until * scale) - tick):
                if self.tempo_at(until, before=True).tick > edge:
                    us = max(1, round((self.seconds_at(until) - now_s) * 1e6 * ticks_per_quarter / ticks))
                now_s += ticks * us / ticks_per_quarter / 1e6
            tempos[tick] = TempoChange(tick, us)
        meters = {m.tick: m for m in (replace(c, tick=round(c.tick * scale)) for c in self.meters)}
        return TempoMap(ticks_per_quarter, _without_repeats(tempos.values()), tuple(meters.values()))

    def _beat_around(self, tick: int) -> tuple[float, ...]:
        """Return the beat that ``tick`` is on; if it is on none, the one before and the one after."""
        meter, until = self.meter_at(tick)
        step = meter.quarters_per_beat * self.ticks_per_quarter
        before = meter.tick + math.floor((tick - meter.tick) / step) * step
        return (before,) if before == tick else (before, min(before + step, until))

    def meter_at(self, tick: float) -> tuple[MeterChange, float]:
        """Return the meter in force at ``tick``, the first one before tick 0, and the tick where it ends."""
        i = max(0, bisect_right(self.meters, tick, key=lambda meter: meter.tick) - 1)
        return self.meters[i], self.meters[i + 1].tick if i + 1 < len(self.meters) else math.inf

    def bar_around(self, tick: float) -> tuple[float, float]:
        """Return the ticks where the bar at ``tick`` begins and ends; a new meter cuts a bar short."""
        meter, until = self.meter_at(tick)
        length = self.ticks_per_bar(meter)
        begins = meter.tick + math.floor((tick - meter.tick) / length) * length
        return begins, min(begins + length, until)

    def ticks_per_bar(self, meter: MeterChange) -> float:
        """Return the length of a whole bar of ``meter``."""
        return meter.numerator * 4 / meter.denominator * self.ticks_per_quarter

    def tick_of(self, bar: int, beat: float) -> float:
        """Return the tick of a felt ``beat`` in ``bar``, both counted from 1 as :meth:`beats` does.

        Raises
        ------
        ValueError
            If ``bar`` is below 1, or has no such beat.
        """
        if bar < 1:
            raise ValueError("bars count from 1")
        first_bar = 1
        for meter, end in zip(self.meters, [*(m.tick for m in self.meters[1:]), math.inf], strict=True):
            length, step = self.ticks_per_bar(meter), meter.quarters_per_beat * self.ticks_per_quarter
            begins = meter.tick + (bar - first_bar) * length
            if begins < end:
                beats = (min(begins + length, end) - begins) / step
                if not 1 <= beat < beats + 1:
                    held = f"{beats:g} beat{'s' * (beats != 1)}"
                    raise ValueError(f"bar {bar} has {held}, so there is no beat {beat:g}")
                return begins + (beat - 1) * step
            first_bar += math.ceil((end - meter.tick) / length)
        raise AssertionError("the last meter goes on for ever")

    def tempo_at(self, tick: float, *, before: bool = False) -> TempoChange:
        """Return the tempo in force at ``tick``, or just before it."""
        find = bisect_left if before else bisect_right
        return self.tempos[max(0, find(self._ticks, tick) - 1)]

    def seconds_at(self, tick: float) -> float:
        """Return the time of ``tick`` in seconds; ticks before 0 go on at the first tempo."""
        i = max(0, bisect_right(self._ticks, tick) - 1)
        change = self.tempos[i]
        return self._starts_s[i] + (tick - change.tick) * change.us_per_quarter / self.ticks_per_quarter / 1e6

    def ticks_at(self, time_s: float) -> float:
        """Return the fractional tick at ``time_s``; the inverse of :meth:`seconds_at`."""
        i = max(0, bisect_right(self._starts_s, time_s) - 1)
        change = self.tempos[i]
        return (
            change.tick + (time_s - self._starts_s[i]) * 1e6 * self.ticks_per_quarter / change.us_per_quarter
        )

    def beats(self, from_s: float, until_s: float) -> Iterator["Beat"]:
        """Yield the beats from the one at or before ``from_s`` to the first after ``until_s``.

        A new meter starts a new bar, as a session's time-signature event does. Time before
        the map's start goes on backwards in its first tempo and meter.
        """
        from_tick, until_tick = self.ticks_at(from_s), self.ticks_at(until_s)
        ends = [*(meter.tick for meter in self.meters[1:]), math.inf]
        first_bar = 1
        for i, (meter, end) in enumerate(zip(self.meters, ends, strict=True)):
            step = meter.quarters_per_beat * self.ticks_per_quarter
            first = math.floor((from_tick - meter.tick) / step)
            for number in count(first if i == 0 else max(0, first)):
                tick = meter.tick + number * step
                if max(tick, from_tick) >= end:
                    break
                bar, beat = divmod(number, meter.beats_per_bar)
                yield Beat(self.seconds_at(tick), first_bar + bar, beat + 1, meter)
                if tick > until_tick:
                    return
            bars = (end - meter.tick) / (step * meter.beats_per_bar)
            first_bar += math.ceil(bars) if math.isfinite(bars) else 0


def _without_repeats(changes: Iterable[TempoChange]) -> tuple[TempoChange, ...]:
    """Leave out every change that changes nothing."""
    kept: list[TempoChange] = []
    for change in changes:
        if not kept or change.us_per_quarter != kept[-1].us_per_quarter:
            kept.append(change)
    return tuple(kept)
