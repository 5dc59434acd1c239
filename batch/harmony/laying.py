"""A chart laid under a take: which chord sounds when, and what the notes are over it.

Bar 1 of the chart is bar 1 of the grid unless the settings say another; a pick-up and bars counted in have no
chords. A note belongs to the chord that sounds as it starts. One that starts within an eighth before the next
chord and lasts for the greater part into it anticipates that chord and belongs to it (common practice in
swing and Latin playing, no source).
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from batch.bars import BarCounter
from batch.charts import MUSICXML_SUFFIXES, about_chart, chart_unused
from batch.harmony.chart import Bar, Chart
from batch.harmony.roles import degree_and_role
from batch.harmony.symbols import Chord
from batch.model import ChordSpan, Grid, Harmony, Note
from batch.rhythm import beat_positions

ANTICIPATES_BEATS = 0.55
"""Felt beats before a chord within which a note anticipates it: an eighth, and a little early playing."""


@dataclass(frozen=True, slots=True)
class Sounding:
    """A chord over its stretch of the take, in bar ``bar`` of the grid."""

    chord: Chord
    start_s: float
    end_s: float
    bar: int


@dataclass(frozen=True, slots=True)
class ChartChoice:
    """How a chart is laid: from which bar of the grid, and whether it starts again whatever it says."""

    from_bar: int = 1
    repeats: bool = False


def lay(chart: Chart, grid: Grid, choice: ChartChoice) -> tuple[Sounding, ...]:
    """Return the chords of a chart over the beats of a grid, in order."""
    return tuple(_sounding(chart, grid, choice))


def _sounding(chart: Chart, grid: Grid, choice: ChartChoice) -> Iterator[Sounding]:
    times = np.array(grid.beats_s)
    for number, first, last in _bars(grid):
        content = _bar_of(chart, number, choice)
        if content is None:
            continue
        zero = first - (grid.beat_in_bar[first] - 1)  # its first beat, perhaps before the take
        is_whole = last + 1 < len(times) or grid.beat_in_bar[last] >= grid.beats_per_bar
        beats = grid.beat_in_bar[last] if is_whole else grid.beats_per_bar
        edges = [zero + change.at * beats for change in content] + [zero + beats]
        edges_s = [_time_of(edge, times) for edge in edges]
        for change, start_s, end_s in zip(content, edges_s, edges_s[1:], strict=False):
            if change.chord is not None:
                yield Sounding(change.chord, start_s, end_s, number)


def _bars(grid: Grid) -> Iterator[tuple[int, int, int]]:
    """Yield each bar's number, and the first and last beat of the grid that lie in it."""
    numbers = BarCounter.of(grid).bars
    first = 0
    for at in range(1, len(numbers) + 1):
        if at == len(numbers) or numbers[at] != numbers[first]:
            yield numbers[first], first, at - 1
            first = at


def _bar_of(chart: Chart, number: int, choice: ChartChoice) -> Bar | None:
    at = number - choice.from_bar
    if at < 0:
        return None
    if at >= len(chart.bars) and not (chart.repeats or choice.repeats):
        return None
    return chart.bars[at % len(chart.bars)]


def _time_of(beat: float, times: np.ndarray) -> float:
    """Return the time of a fractional beat; beyond the ends beats go on at the pace of the nearest."""
    last = len(times) - 1
    left = min(max(int(np.floor(beat)), 0), last - 1)
    return float(times[left] + (beat - left) * (times[left + 1] - times[left]))


def over_chords(notes: Sequence[Note], sounding: Sequence[Sounding], grid: Grid, chart: str) -> Harmony:
    """Return what each note is over the chord it belongs to."""
    over = tuple(_belonging(notes, sounding, grid))
    found = [
        (None, None) if at is None else degree_and_role(note.pitch_midi, sounding[at].chord)
        for note, at in zip(notes, over, strict=True)
    ]
    return Harmony(
        chart=chart,
        chords=tuple(ChordSpan(s.chord.symbol, s.start_s, s.end_s, s.bar) for s in sounding),
        over=over,
        degrees=tuple(degree for degree, _ in found),
        roles=tuple(role for _, role in found),
    )


def _belonging(notes: Sequence[Note], sounding: Sequence[Sounding], grid: Grid) -> Iterator[int | None]:
    """Yield for each note the place of the chord that it belongs to."""
    starts = [each.start_s for each in sounding]
    for note, early_beats in zip(notes, _early_beats(notes, starts, grid), strict=True):
        at = bisect_right(starts, note.onset_s) - 1
        if early_beats <= ANTICIPATES_BEATS and _lies_mostly_after(note, starts[at + 1]):
            yield at + 1
        else:
            yield at if at >= 0 and note.onset_s < sounding[at].end_s else None


def _early_beats(notes: Sequence[Note], starts: Sequence[float], grid: Grid) -> np.ndarray:
    """Return how many felt beats before the next chord each note starts; infinity before none."""
    onsets = np.array([note.onset_s for note in notes])
    changes = np.append(beat_positions(np.array(starts), grid), np.inf)
    nexts = changes[np.searchsorted(starts, onsets, side="right")]
    return (nexts - beat_positions(onsets, grid)) * grid.felt_beats


def _lies_mostly_after(note: Note, change_s: float) -> bool:
    return note.offset_s - change_s > change_s - note.onset_s


def complaints(chart: Chart, grid: Grid | None, choice: ChartChoice, *, ends_s: float) -> Iterator[str]:
    """Yield what the player should know: no sure beat, unknown symbols, another meter, bars without chords.

    ``ends_s`` is where the last note of the take ends: silence after it needs no chords.
    """
    if grid is None:
        yield chart_unused(chart.name, "it needs a sure beat (tempo map, click or tempo_bpm)")
        return
    yield from chart.remarks
    if chart.meter and Fraction(*chart.meter) != _bar_length(grid):
        said = f"is in {chart.meter[0]}/{chart.meter[1]}, the take in {_bar_words(grid)}"
        yield about_chart(chart.name, f"{said}: its chords are stretched to the take's bars; see grid.meter")
    last_of_chart = choice.from_bar + len(chart.bars) - 1
    last = max((number for number, first, _ in _bars(grid) if grid.beats_s[first] < ends_s), default=0)
    if last > last_of_chart and not (chart.repeats or choice.repeats):
        first = max(1, last_of_chart + 1)
        bare = f"bars {first} to {last} have" if last > first else f"bar {last} has"
        bars = "1 bar" if len(chart.bars) == 1 else f"{len(chart.bars)} bars"
        said = f"has {bars}, the take runs to bar {last}: {bare} no chords; {_how_to_repeat(chart)}"
        yield about_chart(chart.name, said)
    elif last and not any(number >= choice.from_bar for number, *_ in _bars(grid)):
        said = f"starts with bar {choice.from_bar}, the take ends before: see grid.chart_from_bar"
        yield about_chart(chart.name, said)


def _how_to_repeat(chart: Chart) -> str:
    if Path(chart.name).suffix.lower() in MUSICXML_SUFFIXES:
        return "set grid.chart_repeats if it is one chorus"
    return "write repeat at its end, or set grid.chart_repeats, if it is one chorus"


def _bar_length(grid: Grid) -> Fraction:
    """Return how much of a whole note a bar of the grid lasts."""
    return Fraction(grid.beats_per_bar * grid.subdivision, grid.division_note)


def _bar_words(grid: Grid) -> str:
    """Return the meter of a grid: 4/4, 6/8."""
    if grid.subdivision == 2:  # noqa: PLR2004  a simple meter
        return f"{grid.beats_per_bar}/{grid.division_note // 2}"
    return f"{grid.beats_per_bar * grid.subdivision}/{grid.division_note}"
