"""Where a take starts in the session, and which bar that is: settings, patterns, time references."""

import io
import struct
from dataclasses import replace
from pathlib import Path

import mido
import pytest
from building import take_info
from test_broadcast import RATE, bext, broadcast_wave

from batch.bars import BarCounter
from batch.errors import SettingsError, TakeError
from batch.grid import grid_from_tempo, map_warnings
from batch.grid_sources import Sources, find_grid
from batch.midi_take import read_tempo_map
from batch.model import Grid, Placement
from batch.placement import place, place_warnings
from batch.settings import Settings
from batch.settings_file import load_settings
from batch.takes import Take, open_take
from batch.tempo import MeterChange, TempoChange, TempoMap

SESSION = TempoMap(960, (TempoChange(0, 500_000),), (MeterChange(0, 4, 4), MeterChange(960 * 8, 3, 4)))
"""120 a minute; two bars of 4/4 (4 s), then 3/4, 1.5 s a bar."""


@pytest.fixture
def take(tmp_path: Path) -> Take:
    """Return a MIDI take without a place of its own."""
    midi = mido.MidiFile(ticks_per_beat=480)
    midi.tracks.append(
        mido.MidiTrack([mido.Message("note_on", note=60), mido.Message("note_off", note=60, time=9600)])
    )
    midi.save(tmp_path / "a ballad.mid")
    return open_take(tmp_path / "a ballad.mid", "")


def settings_of(**grid: object) -> Settings:
    return Settings.model_validate({"grid": grid})


def loaded(folder: Path, text: str) -> Settings:
    (folder / "takemill.toml").write_text(text, encoding="utf-8")
    return load_settings(folder)


def start_s(take: Take, settings: Settings, session_map: TempoMap | None = SESSION) -> float | None:
    placed = place(take, settings.grid_for(take.path.name), session_map)
    return placed.starts_at_s if placed else None


def grid_of(take: Take, settings: Settings, session_map: TempoMap | None = SESSION) -> Grid:
    grid = find_grid(Sources(take, settings, session_map), ())
    assert grid is not None
    return grid


# Bar 3 is at 4 s, bar 5 two bars of 1.5 s later; half a second a beat.
@pytest.mark.parametrize(
    ("bar", "starts_s"),
    [(1, 0.0), ("1", 0.0), ("2|3", 3.0), ("3", 4.0), ("3|2.5", 4.75), (5, 7.0), ("5|3.999", 8.4995)],
)
def test_a_bar_and_beat_of_the_session_is_a_time(take, bar, starts_s):
    assert start_s(take, settings_of(starts_at_bar=bar)) == pytest.approx(starts_s)


def test_a_take_that_starts_at_a_bar_counts_on_from_there(take):
    grid = grid_of(take, settings_of(starts_at_bar="3|2"))
    assert (grid.first_bar, grid.beat_in_bar[:3], grid.beats_s[:2]) == (3, (2, 3, 1), (0.0, 0.5))
    assert BarCounter.of(grid).text(1.0) == "4|1|000"


def test_without_a_map_bars_are_those_of_a_session_at_the_tempo_set(take, tmp_path):
    # A recording at 100 a minute: bar 33 is 32 x 4 x 0.6 s in.
    path = broadcast_wave(tmp_path / "take.wav", struct.pack("<4sI", b"fake", 0), 10.0)
    recording = open_take(path, "")
    settings = settings_of(tempo_bpm=100, starts_at_bar="33|2")
    grid = grid_of(recording, settings, None)
    assert start_s(recording, settings, None) == pytest.approx(32 * 4 * 0.6 + 0.6)
    assert (grid.first_bar, grid.beat_in_bar[0]) == (33, 2)
    assert grid.beats_s[0] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("bar", "session_map", "said"),
    [
        ("2|5", SESSION, "starts at bar 2|5 by grid.starts_at_bar, but bar 2 has 4 beats, so there is no"),
        ("3|4", SESSION, "bar 3 has 3 beats, so there is no beat 4"),
        ("7", None, "no tempo map says when that is; put tempo.mid beside it, or set grid.tempo_bpm"),
    ],
)
def test_a_bar_that_there_is_not_is_refused_in_one_line(take, bar, session_map, said):
    with pytest.raises(TakeError) as refused:
        start_s(take, settings_of(starts_at_bar=bar), session_map)
    assert said in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    "grid",
    [
        "starts_at_bar = 0", "starts_at_bar = -3", 'starts_at_bar = "0|1"', 'starts_at_bar = "3|0"',
        'starts_at_bar = "x"', "starts_at_bar = 3.5", 'starts_at_bar = "33|"', "starts_at_s = -0.5",
        "starts_at_s = inf", "starts_at_s = 1e9", "count_in_bars = -1", "count_in_bars = 1.5",
        "first_downbeat_s = 1e9", "session_starts_at_s = -1", "session_starts_at_s = 86400",
        "tempo_bpm = 0", "tempo_bpm = -120", "tempo_bpm = 1e9", "tempo_bpm = nan", "tempo_bpm = 12",
        'meter = "4/0"', 'meter = "0/4"', 'meter = "4/512"', 'meter = "33/4"', 'meter = "4"', "meter = 4",
    ],
)  # fmt: skip
def test_nonsense_in_the_settings_gets_one_line_that_says_what_is_allowed(tmp_path, grid):
    with pytest.raises(SettingsError) as told:
        loaded(tmp_path, f"[grid]\n{grid}\n")
    assert str(told.value).count("\n") == 0
    assert f"grid.{grid.partition(' ')[0]} = " in str(told.value)
    assert ": allowed is " in str(told.value)


@pytest.mark.parametrize("section", ["[grid]", '[takes."*"]'])
@pytest.mark.parametrize("other", ["starts_at_s = 3", "first_downbeat_s = 0.5"])
def test_two_settings_for_the_start_contradict_each_other(tmp_path, section, other):
    with pytest.raises(SettingsError, match="both say where the take starts; keep one of them") as told:
        loaded(tmp_path, f"{section}\nstarts_at_bar = 2\n{other}\n")
    assert str(told.value).count("\n") == 0


def test_a_take_overrides_only_what_its_pattern_says(take, tmp_path):
    text = """
        [grid]
        tempo_bpm = 90
        starts_at_s = 5
        session_starts_at_s = 3600
        [takes."*ballad*"]
        starts_at_bar = 3
        [takes."*.wav"]
        starts_at_s = 7
    """
    chosen = loaded(tmp_path, text).grid_for
    assert (chosen("x.mid").starts_at_s, chosen("x.mid").starts_at_bar) == (5, None)
    ballad = chosen("a ballad.mid")
    assert (ballad.starts_at_bar, ballad.starts_at_s, ballad.tempo_bpm) == ("3", None, 90)
    later = chosen("a ballad.wav")  # both patterns match, and the later one wins
    assert (later.starts_at_s, later.starts_at_bar, later.session_starts_at_s) == (7, None, 3600)


# A recorder's clock, in seconds since midnight; the session starts at 20:00.
@pytest.mark.parametrize(
    ("reference_s", "zero_s", "starts_s"),
    [(72_000, 72_000, 0.0), (72_903.25, 72_000, 903.25), (900, 72_000, 4 * 3600 + 900), (3600, 0, 3600)],
)
def test_a_time_reference_counts_from_the_session_s_zero_past_midnight_too(
    tmp_path, reference_s, zero_s, starts_s
):
    path = broadcast_wave(tmp_path / "take.wav", bext(int(reference_s * RATE)))
    placed = place(open_take(path, ""), settings_of(session_starts_at_s=zero_s).grid, None)
    assert placed is not None
    assert placed.starts_at_s == pytest.approx(starts_s)
    assert (placed.zero_reads_s, placed.source) == (zero_s, "time reference")


# The chunk says that the take was recorded at 20:15:03, which is 72,903 s after midnight.
@pytest.mark.parametrize(
    ("reference_s", "zero_s", "said"), [(72_903, 0, True), (72_903, 72_000, False), (3600, 0, False)]
)
def test_a_clock_that_puts_a_take_far_into_the_map_is_said(tmp_path, reference_s, zero_s, said):
    take = open_take(broadcast_wave(tmp_path / "take.wav", bext(reference_s * RATE)), "")
    settings = settings_of(session_starts_at_s=zero_s)
    placed = place(take, settings.grid, SESSION)
    warnings = place_warnings(take.info, placed, grid_of(take, settings))
    assert ["20.3 hours into the tempo map" in warning for warning in warnings] == [True] * said
    assert place_warnings(take.info, placed, None) == ()


def test_settings_win_over_a_time_reference(tmp_path):
    path = broadcast_wave(tmp_path / "take.wav", bext(int(3600 * RATE)))
    take = open_take(path, "")
    assert start_s(take, settings_of(starts_at_s=2.5)) == 2.5
    assert start_s(take, settings_of(starts_at_bar="2")) == pytest.approx(2.0)


def test_a_take_that_nothing_places_has_no_place(take):
    assert start_s(take, settings_of()) is None


def first_downbeat(grid: Grid) -> tuple[int, float]:
    """Return the bar and the time of the first downbeat in the take."""
    counter = BarCounter.of(grid)
    at = next(i for i, t in enumerate(grid.beats_s) if grid.beat_in_bar[i] == 1 and t > -0.001)
    return counter.bars[at], grid.beats_s[at]


# 120 a minute in 4/4: a bar is 2 s.
@pytest.mark.parametrize(
    ("downbeat_s", "count_in", "bar"), [(0.0, 0, 1), (0.7, 0, 1), (0.7, 2, -1), (0.0, 1, 0), (3.0, 0, 0)]
)
def test_bar_1_follows_the_count_in(downbeat_s, count_in, bar):
    grid = grid_from_tempo(
        120, (4, 4), duration_s=20, first_downbeat_s=downbeat_s, source="test", count_in_bars=count_in
    )
    assert first_downbeat(grid)[0] == bar
    assert BarCounter.of(grid).text(downbeat_s + 2 * count_in) == "1|1|000"


def test_notes_before_the_first_downbeat_lie_in_bar_0():
    grid = grid_from_tempo(120, (4, 4), duration_s=20, first_downbeat_s=0.75, source="test")
    assert BarCounter.of(grid).text(0.25) == "0|4|000"  # one beat before


def test_a_short_first_bar_of_the_session_is_bar_1_as_recording_programs_count(take):
    tempo_map = TempoMap(480, meters=(MeterChange(0, 1, 4), MeterChange(480, 4, 4)))
    grid = grid_of(take, settings_of(), tempo_map)
    counter = BarCounter.of(grid)
    assert [counter.text(time) for time in (0.0, 0.5, 2.5)] == ["1|1|000", "2|1|000", "3|1|000"]


def test_counted_from_the_take_a_session_s_bars_start_with_the_first_in_it(take):
    # From bar 3, beat 2: two beats of bar 0, then bar 1 (bar 4 of the session).
    counter = BarCounter.of(grid_of(take, settings_of(starts_at_bar="3|2")), from_session=False)
    assert [counter.text(time) for time in (0.0, 1.0, 2.5)] == ["0|2|000", "1|1|000", "2|1|000"]


def a_map(*events: mido.MetaMessage, last: int = 0, midi_format: int = 1) -> bytes:
    midi = mido.MidiFile(type=midi_format, ticks_per_beat=480)
    midi.tracks.append(mido.MidiTrack([*events, mido.MetaMessage("end_of_track", time=last)]))
    stream = io.BytesIO()
    midi.save(file=stream)
    return stream.getvalue()


def tempo(us: int, at: int = 0) -> mido.MetaMessage:
    return mido.MetaMessage("set_tempo", tempo=us, time=at)


FOUR = mido.MetaMessage("time_signature", numerator=4, denominator=4)


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (a_map(FOUR), "states no tempo; export the session's tempo track"),
        (a_map(tempo(0)), "states a tempo of 0 microseconds a quarter"),
        (a_map(tempo(500_000), tempo(0, 480)), "states a tempo of 0 microseconds a quarter"),
        (a_map(tempo(16_777_215)), "states 3.6 quarters a minute"),
        (a_map(tempo(1000)), "states 60,000 quarters a minute"),
        (b"", "is not a Standard MIDI File"),
    ],
)
def test_a_map_of_nonsense_is_refused_in_one_line(tmp_path, content, problem):
    path = tmp_path / "tempo.mid"
    path.write_bytes(content)
    with pytest.raises(TakeError) as refused:
        read_tempo_map(path)
    assert problem in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(("meter", "said"), [((0, 4), "0/4"), ((4, 512), "4/512"), ((200, 4), "200/4")])
def test_a_meter_of_nonsense_in_a_map_is_refused(tmp_path, meter, said):
    event = mido.MetaMessage("time_signature", numerator=meter[0], denominator=meter[1])
    (tmp_path / "tempo.mid").write_bytes(a_map(tempo(500_000), event))
    with pytest.raises(TakeError, match=f"states a meter of {said}"):
        read_tempo_map(tmp_path / "tempo.mid")


# 0.5 s a quarter until bar 2, then 0.6 s; the file ends at bar 5, which is at 2 + 3 x 2.4 = 9.2 s.
# A bar is 2.4 s: what a take of up to 11.6 s lacks is no more than that.
@pytest.mark.parametrize(
    ("starts_s", "duration_s", "said"),
    [
        (0.0, 11.5, None),
        (0.0, 11.7, "the tempo map ends at 0:09, the take at 0:11: its last tempo, 100 quarters a minute,"),
        (4.0, 7.5, None),
        (4.0, 8.0, "the tempo map ends at 0:05, the take at 0:08"),
        (100.0, 5.0, "the tempo map ends before the take starts"),
    ],
)
def test_a_map_that_ends_before_the_take_does_is_said(tmp_path, take, starts_s, duration_s, said):
    (tmp_path / "tempo.mid").write_bytes(a_map(FOUR, tempo(500_000), tempo(600_000, 1920), last=3 * 1920))
    grid = grid_of(take, settings_of(starts_at_s=starts_s), read_tempo_map(tmp_path / "tempo.mid"))
    warnings = map_warnings(grid, duration_s=duration_s)
    assert len(warnings) == (said is not None)
    assert all(said in warning for warning in warnings)


def test_a_map_of_one_tempo_goes_on_wherever_its_file_ends(tmp_path, take):
    (tmp_path / "tempo.mid").write_bytes(a_map(FOUR, tempo(500_000)))
    grid = grid_of(take, settings_of(), read_tempo_map(tmp_path / "tempo.mid"))
    assert map_warnings(grid, duration_s=3600) == ()
    assert map_warnings(None, duration_s=3600) == ()


def test_a_map_of_a_hundred_thousand_changes_is_read_and_moved_to_beats(tmp_path):
    events = [tempo(400_000 + i % 1000, 120 if i else 0) for i in range(100_000)]
    (tmp_path / "tempo.mid").write_bytes(a_map(*events))
    tempo_map = read_tempo_map(tmp_path / "tempo.mid")
    assert len(tempo_map.tempos) == 100_000
    moved = tempo_map.on_beats(960)
    assert all(change.tick % 960 == 0 for change in moved.tempos)
    # Every quarter keeps its time: the last change is at quarter 24,999.75.
    assert moved.seconds_at(960 * 24_999) == pytest.approx(tempo_map.seconds_at(480 * 24_999), abs=1e-4)


@pytest.mark.parametrize(("reference_s", "said"), [(9.0, True), (3.02, False), (None, False)])
def test_a_time_reference_that_contradicts_the_settings_is_said(reference_s, said):
    info = replace(take_info(), time_reference_s=reference_s)
    warnings = place_warnings(info, Placement(3.0, 0.0, "settings"), None)
    expected = (
        "the settings put it 3.000 s into the session, its time reference 9.000 s:"
        " the settings were followed",
    )
    assert warnings == (expected if said else ())
