"""The tempo map: expectations are arithmetic on the Standard MIDI File's definitions, worked in comments."""

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batch.tempo import MeterChange, TempoChange, TempoMap

IN_FOUR = (MeterChange(0, 4, 4),)
AT_120 = (TempoChange(0, 500_000),)


@st.composite
def tempo_maps(draw: st.DrawFn) -> TempoMap:
    """Maps of up to 30 tempo changes between 20 and 400 beats a minute."""
    ticks = draw(st.lists(st.integers(1, 10**6), max_size=29, unique=True).map(sorted))
    tempos = st.integers(150_000, 3_000_000)
    changes = tuple(TempoChange(tick, draw(tempos)) for tick in [0, *ticks])
    return TempoMap(draw(st.integers(1, 32_767)), changes)


@given(tempo_maps(), st.floats(-1e4, 1e7))
def test_ticks_and_seconds_are_inverse(tempo_map, tick):
    assert tempo_map.ticks_at(tempo_map.seconds_at(tick)) == pytest.approx(tick, rel=1e-9, abs=1e-6)


@given(tempo_maps(), st.lists(st.floats(-1e4, 1e5), min_size=2, unique=True).map(sorted))
def test_later_seconds_are_later_ticks(tempo_map, times):
    ticks = [tempo_map.ticks_at(time) for time in times]
    assert all(a <= b for a, b in pairwise(ticks))


# 480 ticks a quarter. 120 bpm for 4 quarters (1920 ticks) = 2 s, then 60 bpm for 2 (960) = 2 s,
# then 240 bpm: 0.25 s a quarter.
THREE_TEMPOS = TempoMap(
    480, (TempoChange(0, 500_000), TempoChange(1920, 1_000_000), TempoChange(2880, 250_000)), IN_FOUR
)


@pytest.mark.parametrize(
    ("tick", "seconds"),
    [(0, 0.0), (480, 0.5), (1920, 2.0), (2400, 3.0), (2880, 4.0), (3360, 4.25), (28_800, 17.5), (-480, -0.5)],
)
def test_seconds_add_up_over_tempo_changes(tick, seconds):
    assert THREE_TEMPOS.seconds_at(tick) == pytest.approx(seconds, abs=1e-12)
    assert THREE_TEMPOS.ticks_at(seconds) == pytest.approx(tick, abs=1e-9)


def test_without_a_tempo_a_map_runs_at_120():
    # Standard MIDI Files 1.0: 120 beats a minute where no tempo is stated.
    assert TempoMap(96).seconds_at(96) == 0.5


# 60e6 / 133.33 = 450,011.25 microseconds, stated as the whole number 450,011.
# 6/8 at 60 dotted quarters a minute: a quarter is 1 s / 1.5 = 666,667 microseconds.
# 2/2 at 60 halves a minute: a quarter is half a second. 7/8 at 140 eighths: a quarter is 2 x 60/140 s.
@pytest.mark.parametrize(
    ("tempo_bpm", "meter", "us_per_quarter"),
    [
        (133.33, (4, 4), 450_011),
        (60, (6, 8), 666_667),
        (60, (2, 2), 500_000),
        (140, (7, 8), 857_143),
        (60, (3, 4), 1_000_000),
    ],
)
def test_constant_tempo_counts_felt_beats(tempo_bpm, meter, us_per_quarter):
    tempo_map = TempoMap.constant(tempo_bpm, meter, 960)
    assert tempo_map.tempos == (TempoChange(0, us_per_quarter),)
    assert tempo_map.meters == (MeterChange(0, *meter),)


# Common practice, no source: 6/8, 9/8 and 12/8 are felt in dotted quarters, 3/8 and 7/8 in eighths.
@pytest.mark.parametrize(
    ("meter", "beats", "quarters"),
    [((4, 4), 4, 1), ((3, 4), 3, 1), ((2, 2), 2, 2), ((6, 8), 2, 1.5), ((9, 8), 3, 1.5), ((12, 8), 4, 1.5),
     ((3, 8), 3, 0.5), ((7, 8), 7, 0.5), ((6, 16), 2, 0.75), ((6, 4), 6, 1)],
)  # fmt: skip
def test_compound_meters_are_felt_in_dotted_notes(meter, beats, quarters):
    change = MeterChange(0, *meter)
    assert (change.beats_per_bar, change.quarters_per_beat) == (beats, quarters)


def counted(tempo_map: TempoMap, from_s: float, until_s: float) -> list[tuple[float, int, int]]:
    return [(round(b.time_s, 9), b.bar, b.beat) for b in tempo_map.beats(from_s, until_s)]


def test_beats_reach_from_the_beat_before_to_the_first_after():
    # Half-second beats; 1.2 s lies in the third, 2.0 s is the fifth, so the sixth closes the list.
    assert counted(TempoMap(960), 1.2, 2.0) == [(1.0, 1, 3), (1.5, 1, 4), (2.0, 2, 1), (2.5, 2, 2)]


def test_time_before_the_map_counts_backwards():
    assert counted(TempoMap(960), -1.0, -0.1) == [(-1.0, 0, 3), (-0.5, 0, 4), (0.0, 1, 1)]


def test_beats_of_six_eight_are_dotted_quarters():
    # 120 quarters a minute: a dotted quarter is 0.75 s, two to a bar.
    beats = counted(TempoMap(480, AT_120, (MeterChange(0, 6, 8),)), 0.0, 2.0)
    assert beats == [(0.0, 1, 1), (0.75, 1, 2), (1.5, 2, 1), (2.25, 2, 2)]


def test_a_new_meter_starts_a_new_bar():
    # 3/4 for two bars = 6 quarters = 2880 ticks = 3 s, then 4/4.
    tempo_map = TempoMap(480, AT_120, (MeterChange(0, 3, 4), MeterChange(2880, 4, 4)))
    bars = [(bar, beat) for _, bar, beat in counted(tempo_map, 0.0, 4.9)]
    assert bars == [(1, 1), (1, 2), (1, 3), (2, 1), (2, 2), (2, 3), (3, 1), (3, 2), (3, 3), (3, 4), (4, 1)]


def test_a_meter_in_the_middle_of_a_bar_cuts_that_bar_short():
    # 4/4 for six quarters (bar 2 has two beats), then 2/4: bar 3 at 3 s.
    tempo_map = TempoMap(480, AT_120, (MeterChange(0, 4, 4), MeterChange(2880, 2, 4)))
    assert counted(tempo_map, 2.0, 4.4)[:5] == [
        (2.0, 2, 1),
        (2.5, 2, 2),
        (3.0, 3, 1),
        (3.5, 3, 2),
        (4.0, 4, 1),
    ]


def test_a_meter_in_the_middle_of_a_beat_cuts_that_beat_short():
    # 480 ticks a quarter at 120 bpm: the change at tick 720 is 0.75 s. Asked from 0.8 s, the beat at
    # 0.5 s is over, since that at 0.75 s lies at or before 0.8 s.
    tempo_map = TempoMap(480, AT_120, (MeterChange(0, 4, 4), MeterChange(720, 3, 4)))
    assert counted(tempo_map, 0.0, 1.0) == [(0.0, 1, 1), (0.5, 1, 2), (0.75, 2, 1), (1.25, 2, 2)]
    assert counted(tempo_map, 0.8, 1.0) == [(0.75, 2, 1), (1.25, 2, 2)]


@st.composite
def metered_maps(draw: st.DrawFn) -> TempoMap:
    ticks = draw(st.lists(st.integers(1, 20_000), max_size=5, unique=True).map(sorted))
    meter = st.sampled_from([(4, 4), (3, 4), (6, 8), (7, 8), (2, 2), (12, 8)])
    meters = tuple(MeterChange(tick, *draw(meter)) for tick in [0, *ticks])
    return TempoMap(draw(st.sampled_from([96, 480, 960])), AT_120, meters)


@given(metered_maps(), st.floats(-10, 60), st.floats(0.1, 30))
def test_beats_rise_cover_the_span_and_count_on_through_any_meters(tempo_map, from_s, length_s):
    beats = list(tempo_map.beats(from_s, from_s + length_s))
    times = [beat.time_s for beat in beats]
    assert all(a < b for a, b in pairwise(times))
    for before, time, after in ((times[0], from_s, times[1]), (times[-2], from_s + length_s, times[-1])):
        assert before - 1e-9 <= time <= after + 1e-9
    for a, b in pairwise(beats):
        assert (b.bar, b.beat) in {(a.bar, a.beat + 1), (a.bar + 1, 1)}
        assert 1 <= b.beat <= b.meter.beats_per_bar


@given(metered_maps(), st.floats(0, 60))
def test_a_bar_has_the_same_number_wherever_the_counting_starts(tempo_map, from_s):
    whole = {round(b.time_s, 6): (b.bar, b.beat) for b in tempo_map.beats(0.0, 100.0)}
    assert all(
        whole[round(b.time_s, 6)] == (b.bar, b.beat) for b in tempo_map.beats(from_s, 99.0) if b.time_s >= 0
    )


def test_changes_on_the_beat_are_counted_in_other_ticks_as_they_are():
    # Ticks 1920 and 2880 of 480 are 3840 and 5760 of 960.
    finer = THREE_TEMPOS.on_beats(960)
    assert finer.tempos == (
        TempoChange(0, 500_000),
        TempoChange(3840, 1_000_000),
        TempoChange(5760, 250_000),
    )


def test_a_beat_in_which_the_tempo_changes_gets_the_tempo_that_keeps_its_length():
    # 120 a minute until the middle of the third beat, then 60: that beat lasts 0.25 + 0.5 = 0.75 s.
    tempos = (*AT_120, TempoChange(1200, 1_000_000))
    moved = TempoMap(480, tempos, IN_FOUR).on_beats(960)
    assert moved.tempos == (
        TempoChange(0, 500_000),
        TempoChange(1920, 750_000),
        TempoChange(2880, 1_000_000),
    )


def test_a_change_off_the_beat_of_six_eight_goes_to_its_dotted_quarters():
    # An eighth is 480 ticks, the felt beat 1440: one eighth at 0.25 s and two at 0.5 s last 1.25 s,
    # which is 1.25 / 1.5 s a quarter.
    tempos = (*AT_120, TempoChange(480, 1_000_000))
    moved = TempoMap(960, tempos, (MeterChange(0, 6, 8),)).on_beats(960)
    assert moved.tempos == (TempoChange(0, 833_333), TempoChange(1440, 1_000_000))


@given(tempo_maps(), st.lists(st.tuples(st.integers(1, 10**6), st.sampled_from([(3, 4), (6, 8), (7, 16)]))))
def test_every_beat_keeps_its_time_when_changes_move_to_beats(tempo_map, meters):
    by_tick = {0: MeterChange(0, 4, 4)} | {tick: MeterChange(tick, *meter) for tick, meter in sorted(meters)}
    tempo_map = TempoMap(960, tempo_map.tempos, tuple(by_tick.values()))
    moved = tempo_map.on_beats(960)
    last = tempo_map.tempos[-1].tick
    beats = [beat.time_s for beat in tempo_map.beats(0.0, tempo_map.seconds_at(last + 4000))]
    beats_moved = [beat.time_s for beat in moved.beats(0.0, tempo_map.seconds_at(last + 9000))]
    assert beats_moved[: len(beats)] == pytest.approx(beats, abs=1e-4)
    on_beat = {round(moved.ticks_at(time), 3) for time in beats_moved}
    assert {change.tick for change in moved.tempos} <= on_beat


def test_of_changes_that_meet_on_a_coarser_tick_the_last_counts():
    # Bars of 1/64 at 960 ticks a quarter: beats on ticks 60 and 120, which are 0.25 and 0.5 of 4.
    tempos = (*AT_120, TempoChange(60, 400_000), TempoChange(120, 300_000))
    meters = (MeterChange(0, 1, 64), MeterChange(60, 3, 64))
    coarse = TempoMap(960, tempos, meters).on_beats(4)
    assert coarse.tempos == (TempoChange(0, 300_000),)
    assert coarse.meters == (MeterChange(0, 3, 64),)


@pytest.mark.parametrize(
    ("ticks_per_quarter", "tempos", "meters", "message"),
    [
        (0, AT_120, IN_FOUR, "ticks_per_quarter"),
        (96, (), IN_FOUR, "tempos must start at tick 0"),
        (96, (TempoChange(1, 500_000),), IN_FOUR, "tempos must start at tick 0"),
        (96, (*AT_120, *AT_120), IN_FOUR, "tempos must start at tick 0 and rise"),
        (96, (TempoChange(0, 0),), IN_FOUR, "at least 1 microsecond"),
        (96, AT_120, (), "meters must start at tick 0"),
        (96, AT_120, (MeterChange(0, 4, 4), MeterChange(9, 3, 4), MeterChange(5, 4, 4)), "rise"),
    ],
)
def test_a_map_that_could_not_be_counted_is_refused(ticks_per_quarter, tempos, meters, message):
    with pytest.raises(ValueError, match=message):
        TempoMap(ticks_per_quarter, tempos, meters)
