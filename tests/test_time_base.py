"""Times as written: timecode against the published counting and the library ``timecode``."""

import csv
import io
from fractions import Fraction

import pytest
from building import analysis_of, grid_of, phrases_at
from hypothesis import given
from hypothesis import strategies as st
from reading import markers_by_mido
from timecode import Timecode

from batch.bars import BarCounter
from batch.grid import grid_from_map
from batch.model import Placement
from batch.settings import Settings
from batch.tempo import TempoMap
from exporters import files_of
from exporters.csv_cues import CsvCues
from exporters.midi_markers import MidiMarkers
from exporters.time_base import FRAMES, timecode

DROP = FRAMES["29.97 drop"]
A_DAY_S = 24 * 3600


# SMPTE ST 12-1: numbers 00 and 01 are left out each minute except minutes 0, 10, 20 ... So a minute has
# 1798 numbers, ten have 17,982 and an hour 107,892, which last 3599.9964 s.
@pytest.mark.parametrize(
    ("frame", "written"),
    [
        (0, "00:00:00;00"),
        (1799, "00:00:59;29"),
        (1800, "00:01:00;02"),
        (17_981, "00:09:59;29"),
        (17_982, "00:10:00;00"),
        (17_982 + 1800, "00:11:00;02"),
        (107_892, "01:00:00;00"),
        (24 * 107_892 - 1, "23:59:59;29"),
        (24 * 107_892, "00:00:00;00"),
    ],
)
def test_drop_frame_counting_leaves_numbers_out_as_the_standard_says(frame, written):
    assert timecode(float(frame / DROP.per_s), DROP) == written


@pytest.mark.parametrize(
    ("rate", "written"),
    [
        ("24", "01:00:00:00"),
        ("25", "01:00:00:00"),
        ("30", "01:00:00:00"),
        # 3600 s are 86,313.7 frames of 23.976 and 107,892.1 of 29.97: 86 and 108 fewer than by name.
        ("23.976", "00:59:56:10"),
        ("29.97", "00:59:56:12"),
        ("29.97 drop", "01:00:00;00"),
    ],
)
def test_an_hour_by_the_clock_in_every_frame_rate(rate, written):
    assert timecode(3600.0, FRAMES[rate]) == written


LIBRARY_RATES = {
    "23.976": "23.98",
    "24": "24",
    "25": "25",
    "29.97": "29.97",
    "29.97 drop": "29.97",
    "30": "30",
}


@given(st.sampled_from(sorted(FRAMES)), st.integers(0, 24 * 107_892 - 1))
def test_every_frame_reads_as_the_library_counts_it(rate, frame):
    other = Timecode(LIBRARY_RATES[rate], frames=frame + 1, force_non_drop_frame=rate == "29.97")
    written = timecode(float(Fraction(frame) / FRAMES[rate].per_s), FRAMES[rate])
    assert written.replace(";", ":") == str(other).replace(";", ":")


@given(st.sampled_from(sorted(FRAMES)), st.floats(0, A_DAY_S - 2))
def test_a_time_is_at_most_half_a_frame_from_what_is_written(rate, time_s):
    frames = FRAMES[rate]
    names = [int(part) for part in timecode(time_s, frames).replace(";", ":").split(":")]
    number = ((names[0] * 60 + names[1]) * 60 + names[2]) * frames.nominal + names[3]
    if frames.drops:
        minutes = names[0] * 60 + names[1]
        number -= 2 * (minutes - minutes // 10)
    assert abs(number / frames.per_s - Fraction(time_s)) <= Fraction(1, 2) / frames.per_s


@pytest.mark.parametrize(
    ("time_s", "written"),
    # Half-second beats in fours from 0 s: 2.25 s is half past the first beat of bar 2.
    [(0.0, "1|1|000"), (2.25, "2|1|480"), (3.9999, "3|1|000"), (1.0 + 0.5 / 960, "1|3|001")],
)
def test_bars_beats_and_ticks(time_s, written):
    grid = grid_of([0.5 * i for i in range(13)], [1 + i % 4 for i in range(13)])
    assert BarCounter.of(grid).text(time_s) == written


@pytest.mark.parametrize(
    ("base", "start"),
    [
        ("clock", "0:00:02.500"),
        ("seconds", "2.5"),
        ("samples", "120000"),  # the take has 48,000 a second
        ("timecode", "00:00:02:12"),  # 62.5 frames of 25: half a frame goes to the even one
        ("bars", "2|2|000"),
    ],
)
def test_the_cue_list_counts_in_the_base_asked_for(base, start):
    grid = grid_of([0.5 * i for i in range(13)], [1 + i % 4 for i in range(13)])
    analysis = analysis_of(phrases_at([(2.5, 3.0)]), grid=grid)
    content = CsvCues(("start",), time_base=base).render(analysis)
    assert list(csv.reader(io.StringIO(content.decode()))) == [["start"], [start]]


def test_samples_count_at_the_session_s_rate_where_that_is_another():
    exporter = CsvCues(("start", "start_sample"), time_base="samples", sample_rate_hz=96_000)
    rows = list(csv.reader(io.StringIO(exporter.render(analysis_of(phrases_at([(2.5, 3.0)]))).decode())))
    assert rows[1] == ["240000", "120000"]


def test_without_a_grid_there_are_no_bars():
    content = CsvCues(("number", "start"), time_base="bars").render(analysis_of(phrases_at([(2.5, 3.0)])))
    assert content == b"number,start\r\n1,\r\n"


# Frames are rounded to the nearest, and a full minute carries over. At 25, 59.99 s is frame 1499.75. With
# numbers dropped, frames are 30 x 1000 / 1001 a second: 59.999 s is 1798.2; 60.05 s is 1799.7, after which
# 00 and 01 are left out; 599.98 s is 17,981.4 and 599.99 s 17,981.7 of the 17,982 that ten minutes by name
# hold. A day by name is 2,589,408 frames; 86,399.9 s is 2,589,407.6, and 86,400 s by the clock 2.6 more.
@pytest.mark.parametrize(
    ("rate", "time_s", "written"),
    [
        ("25", 59.99, "00:01:00:00"),
        ("25", 59.97, "00:00:59:24"),
        ("24", 3599.99, "01:00:00:00"),
        ("30", 86_399.999, "00:00:00:00"),
        ("23.976", 60.06 - 0.001, "00:01:00:00"),  # 60.06 s are 1440 frames of 24 x 1000 / 1001
        ("29.97 drop", 59.999, "00:00:59;28"),
        ("29.97 drop", 60.05, "00:01:00;02"),
        ("29.97 drop", 599.98, "00:09:59;29"),
        ("29.97 drop", 599.99, "00:10:00;00"),
        ("29.97 drop", 600.0, "00:10:00;00"),
        ("29.97 drop", 86_399.9, "00:00:00;00"),
        ("29.97 drop", 86_400.0, "00:00:00;03"),
    ],
)
def test_frames_round_and_carry_over(rate, time_s, written):
    assert timecode(time_s, FRAMES[rate]) == written


PLACED = Placement(starts_at_s=90.0, zero_reads_s=3600.0, source="time reference")
"""90 s into a session that starts at 01:00:00:00."""


@pytest.mark.parametrize(
    ("base", "start"),
    [
        ("clock", "0:01:32.500"),
        ("seconds", "92.5"),
        ("samples", "4440000"),  # 92.5 s of 48,000
        ("timecode", "01:01:32:12"),
        ("bars", "2|2|000"),  # the take's own grid
    ],
)
def test_every_base_counts_from_the_session_s_zero_where_asked(base, start):
    grid = grid_of([0.5 * i for i in range(13)], [1 + i % 4 for i in range(13)])
    analysis = analysis_of(phrases_at([(2.5, 3.0)]), grid=grid, placement=PLACED)
    content = CsvCues(("start", "start_s", "start_sample"), time_base=base, counts_from="session").render(
        analysis
    )
    assert list(csv.reader(io.StringIO(content.decode())))[1] == [start, "92.5", "4440000"]


@pytest.mark.parametrize("counts_from", ["auto", "take"])
def test_otherwise_they_count_from_the_take(counts_from):
    analysis = analysis_of(phrases_at([(2.5, 3.0)]), placement=PLACED)
    content = CsvCues(("start", "start_s"), time_base="timecode", counts_from=counts_from).render(analysis)
    assert list(csv.reader(io.StringIO(content.decode())))[1] == ["00:00:02:12", "2.5"]


# The session at 120 a minute: the take starts at bar 3, beat 2 (4.5 s); 1.25 s later is bar 3, beat 4.5.
@pytest.mark.parametrize(
    ("counts_from", "start", "marker_s"),
    [("auto", "3|4|480", 5.75), ("session", "3|4|480", 5.75), ("take", "0|4|480", 1.25)],
)
def test_markers_and_cues_count_alike_on_a_session_s_map(counts_from, start, marker_s):
    grid = grid_from_map(TempoMap(960), duration_s=9, starts_at_s=4.5, source="tempo map", spans_session=True)
    placed = Placement(4.5, 0.0, "settings")
    analysis = analysis_of(phrases_at([(1.25, 3.0)]), grid=grid, placement=placed)
    cues = CsvCues(("start", "start_s"), time_base="bars", counts_from=counts_from).render(analysis)
    assert list(csv.reader(io.StringIO(cues.decode())))[1] == [start, str(marker_s)]
    ((time, _),) = markers_by_mido(MidiMarkers(counts_from=counts_from).render(analysis))
    assert time == pytest.approx(marker_s, abs=0.001)


def test_the_settings_reach_every_exporter():
    settings = Settings.model_validate(
        {"markers": {"counts_from": "session", "notes_file": True}, "cues": {"counts_from": "take"}}
    )
    chosen = files_of(settings)
    each = (*chosen.always, *chosen.extras)
    asked = {exporter.suffix: getattr(exporter, "counts_from", None) for exporter in each}
    assert asked == {
        ".markers.mid": "session", ".cues.csv": "take", ".notes.mid": "session", ".analysis.json": None,
    }  # fmt: skip


def test_without_a_known_place_a_take_starts_at_the_session_s_zero():
    analysis = analysis_of(phrases_at([(2.5, 3.0)]))
    content = CsvCues(("start",), counts_from="session").render(analysis)
    assert content == b"start\r\n0:00:02.500\r\n"
