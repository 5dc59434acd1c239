"""Positions over an hour, in every kind of map and by four readers that are not ours, to the millisecond.

``python tests/test_positions.py`` prints the largest error of each case and reader.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import accumulate, cycle, islice, pairwise

import pytest
from building import analysis_of, grid_of, phrases_at
from reading import (
    by_music21,
    markers_by_mido,
    markers_by_pretty_midi,
    markers_by_symusic,
    of_type,
    opened,
    spans_by_pretty_midi,
    spans_by_symusic,
)

from batch.grid import grid_from_tempo
from batch.model import Analysis, Grid, Placement
from batch.tempo import MeterChange, TempoChange, TempoMap
from exporters.midi_markers import MidiMarkers

MILLISECOND = 0.001
HOUR_S = 3600.0
METERS = [(2, 4), (3, 4), (4, 4), (5, 4), (6, 4), (6, 8), (7, 8), (9, 8), (12, 8), (5, 8), (2, 2), (3, 8)]


def an_hour_of_spans(seed: int = 1, count: int = 120) -> list[tuple[float, float]]:
    chance = random.Random(seed)
    bounds = [0.0, *sorted(chance.uniform(0, HOUR_S) for _ in range(count)), HOUR_S]
    return [(a, b) for a, b in pairwise(bounds) if b - a >= 0.01][::2]


def tempo_a_beat(ticks: int) -> TempoMap:
    chance = random.Random(ticks)
    return TempoMap(ticks, tuple(TempoChange(i * ticks, chance.randint(375_000, 10**6)) for i in range(8000)))


def ramps(ticks: int) -> TempoMap:
    """Return 16 bars from 60 to 180 a minute and 16 back, an event a sixteenth, for more than an hour."""
    up = [round(60e6 / (60 + 120 * i / 256)) for i in range(256)]
    us = islice(cycle(up + up[::-1]), 32_000)
    return TempoMap(ticks, tuple(TempoChange(i * ticks // 4, each) for i, each in enumerate(us)))


def off_the_beat(ticks: int) -> TempoMap:
    chance = random.Random(6)
    places = [0, *sorted(chance.sample(range(1, ticks * 7000), 6000))]
    return TempoMap(ticks, tuple(TempoChange(tick, chance.randint(375_000, 10**6)) for tick in places))


def meters(ticks: int) -> TempoMap:
    """Return three bars of each meter in turn, and a tempo a change, for more than an hour."""
    used = list(islice(cycle(METERS), 900))
    starts = accumulate((3 * ticks * 4 * n // d for n, d in used[:-1]), initial=0)
    changes = tuple(MeterChange(tick, *meter) for tick, meter in zip(starts, used, strict=True))
    chance = random.Random(3)
    return TempoMap(
        ticks, tuple(TempoChange(m.tick, chance.randint(375_000, 10**6)) for m in changes), changes
    )


@dataclass(frozen=True)
class Case:
    """A grid, how the file is made, and where in it the take's zero is expected."""

    grid: Callable[[], Grid | None]
    exporter: MidiMarkers = MidiMarkers()  # noqa: RUF009  frozen
    starts_at_s: float = 0.0
    placement: Placement | None = None

    def render(self, spans: list[tuple[float, float]]) -> bytes:
        analysis: Analysis = analysis_of(phrases_at(spans), grid=self.grid(), placement=self.placement)
        return self.exporter.render(analysis)


def on_map(make: Callable[[int], TempoMap], ticks: int, starts_at_s: float = 0.0) -> Callable[[], Grid]:
    return lambda: grid_of((0.0, 0.5), (1, 2), tempo_map=make(ticks), starts_at_s=starts_at_s)


def steady(tempo_bpm: float, first_downbeat_s: float, meter: tuple[int, int] = (4, 4)) -> Callable[[], Grid]:
    return partial(
        grid_from_tempo, tempo_bpm, meter, duration_s=10.0, first_downbeat_s=first_downbeat_s, source="test"
    )


def no_grid() -> None:
    return None


FROM_TAKE = MidiMarkers(counts_from="take")
PLACED = Placement(4321.0987, 0.0, "time reference")
CASES = {
    "no grid, 120": Case(no_grid),
    "no grid, session at 97.3": Case(no_grid, MidiMarkers(session_tempo_bpm=97.3)),
    "steady 133.33": Case(steady(133.33, 0.0)),
    "steady 61.7, downbeat at 0.7 s": Case(steady(61.7, 0.7)),
    "steady 88 in 7/8, downbeat at 3.1 s": Case(steady(88, 3.1, (7, 8))),
    "steady 20": Case(steady(20, 0.0)),
    "steady 20 eighths in 3/8, downbeat at 5 s": Case(steady(20, 5.0, (3, 8))),
    "steady 240 in 12/8, downbeat at -0.4 s": Case(steady(240, -0.4, (12, 8))),
    "tempo a beat": Case(on_map(tempo_a_beat, 480)),
    "tempo a beat, 96 ticks": Case(on_map(tempo_a_beat, 96)),
    "ramps, an event a sixteenth": Case(on_map(ramps, 480)),
    "6,000 changes off the beat": Case(on_map(off_the_beat, 480)),
    "twelve meters in turn": Case(on_map(meters, 960)),
    "ramps, take at 1234.5678 s": Case(on_map(ramps, 480, 1234.5678), starts_at_s=1234.5678),
    "ramps, counted from the take": Case(on_map(ramps, 480, 1234.5678), FROM_TAKE),
    "meters, counted from the take": Case(on_map(meters, 960, 1234.5678), FROM_TAKE),
    "take at 133.33, session at 97.3": Case(
        steady(133.33, 0.3),
        MidiMarkers(counts_from="session", session_tempo_bpm=97.3),
        starts_at_s=PLACED.starts_at_s,
        placement=PLACED,
    ),
    "ramps, format 1": Case(on_map(ramps, 480), MidiMarkers(midi_format=1)),
    "ramps, cue points": Case(on_map(ramps, 480), MidiMarkers(event="cue-point")),
}

Found = dict[str, list[tuple[float, ...]]]


def found_in(content: bytes, event: str) -> Found:
    """Return markers (a time each) and spans (two) by each reader that knows them."""
    texts_21, spans_21 = by_music21(content)
    kind = "marker" if event == "marker" else "cue_marker"
    markers: dict[str, list[tuple[float, str]]] = {
        "pretty_midi": markers_by_pretty_midi(content, kind),
        "music21": texts_21,
    }
    if event == "marker":
        markers |= {"mido": markers_by_mido(content), "symusic": markers_by_symusic(content)}
    return {f"markers by {name}": [(time,) for time, _ in found] for name, found in markers.items()} | {
        "spans by pretty_midi": spans_by_pretty_midi(content),
        "spans by symusic": spans_by_symusic(content),
        "spans by music21": spans_21,
    }


def largest_errors(case: Case) -> dict[str, float]:
    spans = an_hour_of_spans()
    expected = [(case.starts_at_s + a, case.starts_at_s + b) for a, b in spans]
    errors = {}
    for name, found in found_in(case.render(spans), case.exporter.event).items():
        assert len(found) == len(spans), name
        errors[name] = max(
            abs(e - f) for es, fs in zip(expected, found, strict=True) for e, f in zip(es, fs, strict=False)
        )
    return errors


@pytest.mark.parametrize("name", CASES)
def test_every_position_in_an_hour_is_right_to_the_millisecond(name):
    errors = largest_errors(CASES[name])
    assert max(errors.values()) <= MILLISECOND, errors


@pytest.mark.parametrize("name", [name for name in CASES if "no grid" not in name])
def test_tempo_changes_lie_on_beats_and_meters_on_bar_lines(name):
    content = CASES[name].render(an_hour_of_spans(count=4))
    quarter = opened(content).ticks_per_beat
    stated = [(t, MeterChange(t, m.numerator, m.denominator)) for t, m in of_type(content, "time_signature")]
    for (tick, meter), (following, _) in pairwise(stated):
        assert (following - tick) % (quarter * 4 * meter.numerator // meter.denominator) == 0
    for tick, _ in of_type(content, "set_tempo"):
        start, meter = max((pair for pair in stated if pair[0] <= tick), key=lambda pair: pair[0])
        assert (tick - start) % round(quarter * meter.quarters_per_beat) == 0


if __name__ == "__main__":
    for name, case in CASES.items():
        errors = largest_errors(case)
        print(f"{name:42}", "  ".join(f"{key} {1000 * value:.3f} ms" for key, value in errors.items()))
