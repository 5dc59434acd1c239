"""A map cut where a take starts: worked by hand, and as properties against the map it was cut from."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batch.tempo import MeterChange, TempoChange, TempoMap
from batch.tempo_cut import cut_at

IN_FOUR = TempoMap.constant(120, (4, 4), 960)


def stated(tempo_map: TempoMap) -> tuple[list[tuple[int, int]], list[tuple[int, int, int]]]:
    return (
        [(c.tick, c.us_per_quarter) for c in tempo_map.tempos],
        [(m.tick, m.numerator, m.denominator) for m in tempo_map.meters],
    )


# 120 a minute: a beat is 0.5 s and 960 ticks, a bar 2 s. First downbeat at 0.5 s: a bar of one beat.
# At 0.7 s: 1.4 beats, told as one that lasts 0.7 s. At 2.7 s: 5.4 beats, one bar and a beat of 0.7 s, the bar
# itself at its own tempo. At 0.05 s: no beat, so the first bar takes in the next and lasts 2.05 s, 512,500
# us a quarter. At -1 s: two beats of the bar are over.
@pytest.mark.parametrize(
    ("downbeat_s", "tempos", "meters"),
    [
        (0.0, [(0, 500_000)], [(0, 4, 4)]),
        (2.0, [(0, 500_000)], [(0, 4, 4)]),
        (0.5, [(0, 500_000)], [(0, 1, 4), (960, 4, 4)]),
        (0.7, [(0, 700_000), (960, 500_000)], [(0, 1, 4), (960, 4, 4)]),
        (2.7, [(0, 700_000), (960, 500_000)], [(0, 1, 4), (960, 4, 4)]),
        (0.05, [(0, 512_500), (3840, 500_000)], [(0, 4, 4)]),
        (-1.0, [(0, 500_000)], [(0, 2, 4), (1920, 4, 4)]),
        (0.0009, [(0, 500_000)], [(0, 4, 4)]),
    ],
)
def test_a_first_bar_brings_the_bar_lines_onto_the_music(downbeat_s, tempos, meters):
    assert stated(cut_at(IN_FOUR, -downbeat_s)) == (tempos, meters)


def test_a_first_bar_of_six_eight_counts_dotted_quarters():
    # One dotted quarter a second: 666,667 us a quarter. The downbeat at 0.9 s: 3/8 in 0.9 s.
    cut = cut_at(TempoMap.constant(60, (6, 8), 960), -0.9)
    assert stated(cut) == ([(0, 600_000), (1440, 666_667)], [(0, 3, 8), (1440, 6, 8)])


def test_what_a_session_states_later_is_kept():
    # Bar 1 of 4/4 at 120 (2 s), then 7/8 at 150 (seven eighths of 0.2 s, 1.4 s), then 3/4. Cut at 1 s:
    # two beats, then the rest 1,920 ticks earlier.
    tempos = (TempoChange(0, 500_000), TempoChange(3840, 400_000))
    meters = (MeterChange(0, 4, 4), MeterChange(3840, 7, 8), MeterChange(7200, 3, 4))
    cut = cut_at(TempoMap(960, tempos, meters), 1.0)
    assert stated(cut) == ([(0, 500_000), (1920, 400_000)], [(0, 2, 4), (1920, 7, 8), (5280, 3, 4)])


METERS = st.sampled_from([(2, 4), (3, 4), (4, 4), (5, 4), (6, 8), (7, 8), (9, 8), (12, 8), (2, 2), (7, 16)])


@st.composite
def session_maps(draw: st.DrawFn) -> TempoMap:
    """Maps whose meters change on bar lines and whose tempos change on beats, as sessions have them."""
    meters, tick = [], 0
    for meter in draw(st.lists(METERS, min_size=1, max_size=5)):
        meters.append(MeterChange(tick, *meter))
        tick += draw(st.integers(1, 6)) * 960 * 4 * meter[0] // meter[1]
    beats = draw(st.lists(st.integers(1, 60), max_size=8, unique=True).map(sorted))
    us = st.integers(200_000, 2_000_000)
    tempos = tuple(TempoChange(beat * 960, draw(us)) for beat in [0, *beats])
    return TempoMap(960, tempos, tuple(meters)).on_beats(960)


@settings(max_examples=150, deadline=None)
@given(session_maps(), st.floats(-30, 90))
def test_bar_lines_after_the_first_bar_are_the_session_s(tempo_map, start_s):
    cut = cut_at(tempo_map, start_s)
    theirs = [b.time_s - start_s for b in tempo_map.beats(start_s, start_s + 40) if b.beat == 1]
    ours = [b.time_s for b in cut.beats(0.0, 40.0) if b.beat == 1]
    # The first bar is cut, or takes in the bar after it.
    for line in ours[2:]:
        assert min(abs(line - other) for other in theirs) < 0.0011
    assert ours[0] == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=150, deadline=None)
@given(session_maps(), st.floats(-30, 90))
def test_a_cut_map_states_meters_on_bar_lines_and_a_first_bar_of_whole_beats(tempo_map, start_s):
    cut = cut_at(tempo_map, start_s)
    for meter, following in pairwise(cut.meters):
        assert (following.tick - meter.tick) % cut.ticks_per_bar(meter) == 0
    assert all(1 <= change.us_per_quarter <= 0xFFFFFF for change in cut.tempos)
    slowest = max(change.us_per_quarter for change in tempo_map.tempos)
    assert cut.tempos[0].us_per_quarter <= 1.5 * slowest + 1


# Bars of 4/4 from tick 0, of 6/8 (two beats) from bar 3, tick 7680 of 960.
CHANGING = TempoMap(960, meters=(MeterChange(0, 4, 4), MeterChange(7680, 6, 8)))


@pytest.mark.parametrize(
    ("bar", "beat", "tick"),
    [(1, 1, 0), (1, 4.5, 3360), (2, 1, 3840), (3, 1, 7680), (3, 2, 9120), (4, 2.5, 12_720), (33, 1, 94_080)],
)
def test_a_bar_and_a_beat_have_their_tick(bar, beat, tick):
    assert CHANGING.tick_of(bar, beat) == tick


@pytest.mark.parametrize(("bar", "beat"), [(0, 1), (-3, 1), (1, 0.5), (1, 5), (2, 5), (3, 3), (40, 3)])
def test_a_bar_or_a_beat_that_there_is_not_is_refused(bar, beat):
    with pytest.raises(ValueError, match=r"bars count from 1|has . beats, so there is no beat"):
        CHANGING.tick_of(bar, beat)


def test_a_bar_cut_short_by_a_new_meter_has_fewer_beats():
    # 4/4 for six beats: bar 2 has two.
    tempo_map = TempoMap(960, meters=(MeterChange(0, 4, 4), MeterChange(5760, 3, 4)))
    assert tempo_map.tick_of(3, 1) == 5760
    with pytest.raises(ValueError, match="bar 2 has 2 beats, so there is no beat 3"):
        tempo_map.tick_of(2, 3)


@given(session_maps(), st.integers(1, 40))
def test_beats_and_ticks_agree_on_every_bar(tempo_map, bar):
    time_s = tempo_map.seconds_at(tempo_map.tick_of(bar, 1))
    found = next(b for b in tempo_map.beats(time_s + 1e-6, time_s + 1) if b.time_s >= time_s - 1e-6)
    assert (found.bar, found.beat) == (bar, 1)
