"""Times as written: timecode against the published counting and the library ``timecode``."""

import csv
import io
from fractions import Fraction

import pytest
from building import analysis_of, grid_of, phrases_at
from hypothesis import given
from hypothesis import strategies as st
from timecode import Timecode

from batch.bars import BarCounter
from exporters.csv_cues import CsvCues
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
