"""The ruler over a row: times as a clock shows them, bars where the grid can be trusted."""

from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import count

from batch.bars import BarCounter
from batch.words import clock
from exporters.pictures.rows import Row
from exporters.pictures.svg import SMALL, path, short, width_of, words

CLOCK_STEPS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 18000, 36000)
"""Seconds from one time to the next, as clocks count."""
_CLOCK_APART, _BARS_APART, _LINES_APART = 64.0, 28.0, 7.0
"""Points at least between two times, two bar numbers, two lines (our choice)."""
_APART = 4.0
TICK = 3

Place = Callable[[float], float]


@dataclass(frozen=True, slots=True)
class Bars:
    """Where bars start, with their numbers, and where the other beats are."""

    starts_s: tuple[float, ...]
    numbers: tuple[int, ...]
    beats_s: tuple[float, ...]

    @classmethod
    def of(cls, counter: BarCounter) -> "Bars":
        """Return what a counter counts."""
        beats = list(zip(counter.beats_s, counter.beat_in_bar, counter.bars, strict=True))
        firsts = [(time, bar) for time, beat, bar in beats if beat == 1]
        return cls(
            tuple(time for time, _ in firsts),
            tuple(bar for _, bar in firsts),
            tuple(time for time, beat, _ in beats if beat != 1),
        )


def times(row: Row, place: Place, per_s: float, y: float, right: float) -> Iterator[str]:
    """Yield a row's times: a tick at ``y`` and m:ss beside it."""
    step = next((s for s in CLOCK_STEPS_S if s * per_s >= _CLOCK_APART), None) or _doubled(per_s)
    for time in range(-int(-row.start_s // step) * step, int(row.end_s) + 1, step):
        x, text = place(time), clock(time)
        if x + width_of(text, SMALL) <= right:
            yield path("base", f"M{short(x)} {short(y)}V{short(y + TICK)}")
            yield words(x, y - 1, text, size=SMALL, kind="faint")


def bar_lines(bars: Bars, row: Row, place: Place, top: float, base: float) -> Iterator[str]:
    """Yield a row's bar lines, and its beats where they are far enough apart."""
    within = _within(bars.starts_s, row)
    xs = [place(bars.starts_s[i]) for i in within]
    step = _step(xs, _LINES_APART)
    lines = [x for i, x in zip(within, xs, strict=True) if (bars.numbers[i] - 1) % step == 0]
    beats = [place(bars.beats_s[i]) for i in _within(bars.beats_s, row)]
    if _step(sorted(beats + xs), _LINES_APART) == 1 and beats:
        yield path("beat", "".join(f"M{short(x)} {short(top)}V{short(base)}" for x in beats))
    if lines:
        yield path("hair", "".join(f"M{short(x)} {short(top)}V{short(base)}" for x in lines))


def bar_numbers(bars: Bars, row: Row, place: Place, y: float, right: float) -> Iterator[str]:
    """Yield the numbers of a row's bars, every second, fourth and so on where they crowd."""
    within = _within(bars.starts_s, row)
    step = _step([place(bars.starts_s[i]) for i in within], _BARS_APART)
    free, lead = 0.0, "bar "
    for i in within:
        x, text = place(bars.starts_s[i]), f"{lead}{bars.numbers[i]}"
        end = x + width_of(text, SMALL)
        if (bars.numbers[i] - 1) % step == 0 and x >= free and end <= right:
            yield words(x, y, text, size=SMALL, kind="faint")
            free, lead = end + _APART, ""


def _within(times_s: Sequence[float], row: Row) -> range:
    return range(bisect_left(times_s, row.start_s), bisect_left(times_s, row.end_s))


def _step(xs: Sequence[float], apart: float) -> int:
    """Return of how many lines one can be drawn so that they stand ``apart`` on average: 1, 2, 4, ..."""
    if len(xs) < 2:  # noqa: PLR2004  one line has no neighbour
        return 1
    spacing = (xs[-1] - xs[0]) / (len(xs) - 1)
    return next(1 << power for power in count() if spacing * (1 << power) >= apart or power > 60)  # noqa: PLR2004


def _doubled(per_s: float) -> int:
    step = CLOCK_STEPS_S[-1]
    while step * per_s < _CLOCK_APART:
        step *= 2
    return step
