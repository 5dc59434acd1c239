"""The cue list, read back by Python's csv and by pandas; times and bars worked by hand."""

import csv
import io
from dataclasses import fields, replace
from typing import get_args

import pandas as pd
import pytest
from building import analysis_of, evidence, grid_of, phrases_at, take_info
from hypothesis import given
from hypothesis import strategies as st

from batch.inert import inert_cell
from batch.model import Analysis, Evidence, Relation, RelationKind
from batch.settings import CueColumn
from exporters.csv_cues import CsvCues
from exporters.time_base import clock

SECOND_BARS = grid_of([0.5 * i for i in range(13)], [1 + i % 4 for i in range(13)])
"""Half-second beats from 0 to 6 s: bar 1 at 0 s, bar 2 at 2 s, bar 3 at 4 s, bar 4 at 6 s."""


def rows_of(content: bytes, separator: str = ",") -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(content.decode("utf-8"), newline=""), delimiter=separator))


def cells(analysis: Analysis, *columns: str) -> list[list[str]]:
    """Return the cells of these columns, a list a phrase."""
    return [list(row.values()) for row in rows_of(CsvCues(columns).render(analysis))]


def test_the_bytes_are_those_of_rfc_4180():
    analysis = analysis_of(phrases_at([(0.5, 62.25)]), take=take_info('So, "Lo"\n1.wav'))
    content = CsvCues(("number", "start", "end", "take")).render(analysis)
    assert content == b'number,start,end,take\r\n1,0:00:00.500,0:01:02.250,"So, ""Lo""?1.wav"\r\n'


@pytest.mark.parametrize(
    ("file", "shown"),
    [(name, name) for name in ("Ä – 夜.wav", 'a "b".wav', "a,b.wav", "a;b.wav", " a.wav")]
    + [("a\r\nb.wav", "a??b.wav"), ("a\nb.wav", "a?b.wav"), ("a\tb.wav", "a?b.wav")],
)
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_any_file_name_is_read_back_by_csv_and_by_pandas(file, shown, separator):
    analysis = analysis_of(phrases_at([(0.0, 1.0), (2.0, 3.0)]), take=take_info(file))
    content = CsvCues(separator=separator).render(analysis)
    assert [row["take"] for row in rows_of(content, separator)] == [shown, shown]
    assert list(pd.read_csv(io.BytesIO(content), sep=separator)["take"]) == [shown, shown]


def test_a_file_name_that_is_no_text_is_still_written():
    # A byte that is no UTF-8 arrives from the file system as a lone surrogate.
    analysis = analysis_of(phrases_at([(0.0, 1.0)]), take=take_info("a\udcffb.wav"))
    assert cells(analysis, "take") == [["a?b.wav"]]


def test_a_take_without_phrases_has_a_header_only():
    content = CsvCues().render(analysis_of(()))
    assert content.count(b"\r\n") == 1
    assert pd.read_csv(io.BytesIO(content)).empty


def test_all_columns_of_the_settings_are_there_by_default():
    header = CsvCues().render(analysis_of(())).decode().strip().split(",")
    assert sorted(header) == sorted(get_args(CueColumn))
    assert {field.name for field in fields(Evidence)} <= set(header)


def test_columns_stand_in_the_order_asked_for():
    content = CsvCues(("end_s", "number", "start_s")).render(analysis_of(phrases_at([(1.0, 2.0)])))
    assert content == b"end_s,number,start_s\r\n2.0,1,1.0\r\n"


def test_pandas_reads_numbers_as_numbers_and_gaps_as_gaps():
    table = pd.read_csv(io.BytesIO(CsvCues().render(analysis_of(phrases_at([(0.25, 1.75), (2.0, 3.0)])))))
    assert list(table["number"]) == [1, 2]
    assert list(table["start_s"]) == [0.25, 2.0]
    assert list(table["end_sample"]) == [84_000, 144_000]  # 1.75 s and 3 s at 48 kHz
    assert list(table["duration_s"]) == [1.5, 1.0]
    assert (
        table[["start_bar", "start_beat", "duration_beats", "syncopation", "borderline"]]
        .isna()
        .all(axis=None)
    )
    assert list(table["name"]) == ["01 long dense against-groove", "02 long dense against-groove"]
    assert list(table["groove"]) == ["against-groove"] * 2


# h:mm:ss.mmm, rounded to the nearest millisecond; a full minute or hour carries over.
@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0.0, "0:00:00.000"), (0.0004, "0:00:00.000"), (0.0006, "0:00:00.001"), (59.9994, "0:00:59.999"),
     (59.9996, "0:01:00.000"), (61.25, "0:01:01.250"), (3599.9996, "1:00:00.000"), (3661.001, "1:01:01.001"),
     (7322.002, "2:02:02.002"), (36_000.0, "10:00:00.000"), (359_999.999, "99:59:59.999")],
)  # fmt: skip
def test_clock_time_carries_over(seconds, text):
    assert clock(seconds) == text


@given(st.floats(0, 360_000))
def test_clock_time_is_the_time_to_half_a_millisecond(seconds):
    hours, minutes, rest = clock(seconds).split(":")
    assert int(minutes) < 60 and float(rest) < 60 and len(rest) == 6
    assert int(hours) * 3600 + int(minutes) * 60 + float(rest) == pytest.approx(seconds, abs=0.0005 + 1e-9)


# 1.00001 s at 44.1 kHz is sample 44,100.441; 1.00002 s is 44,100.882.
@pytest.mark.parametrize(("start_s", "sample"), [(1.0, "44100"), (1.00001, "44100"), (1.00002, "44101")])
def test_samples_are_the_nearest(start_s, sample):
    analysis = analysis_of(phrases_at([(start_s, 2.0)]), take=take_info(rate_hz=44_100))
    assert cells(analysis, "start_sample", "end_sample") == [[sample, "88200"]]


def test_a_midi_take_has_no_samples():
    analysis = analysis_of(phrases_at([(1.0, 2.0)]), take=take_info(rate_hz=None))
    assert cells(analysis, "start_sample", "end_sample") == [["", ""]]


@pytest.mark.parametrize(
    ("time_s", "bar", "beat"),
    [
        (0.0, 1, 1.0),
        (0.25, 1, 1.5),
        (1.9, 1, 4.8),
        (2.0, 2, 1.0),
        (3.125, 2, 3.25),
        (5.9, 3, 4.8),
        (6.0, 4, 1.0),
        # 1.9999 s is 4.9998 in bar 1, which rounds to the next downbeat and not to a fifth beat.
        (1.9999, 2, 1.0),
        (1.4999, 1, 4.0),
        (5.9999, 4, 1.0),
    ],
)
def test_bar_and_beat_count_from_one(time_s, bar, beat):
    analysis = analysis_of(phrases_at([(time_s, 6.25)]), grid=SECOND_BARS)
    ((start_bar, start_beat, end_bar, end_beat),) = cells(
        analysis, "start_bar", "start_beat", "end_bar", "end_beat"
    )
    assert (int(start_bar), float(start_beat)) == (bar, beat)
    assert (int(end_bar), float(end_beat)) == (4, 1.5)  # past the last beat, at its pace


def test_bars_count_on_from_the_sessions_and_from_a_pickup():
    # The take starts on beat 3 of bar 17: beats 3, 4, then bar 18.
    grid = grid_of([0.0, 0.5, 1.0, 1.5], [3, 4, 1, 2], first_bar=17)
    analysis = analysis_of(phrases_at([(0.25, 1.25)]), grid=grid)
    assert cells(analysis, "start_bar", "start_beat", "end_bar", "end_beat") == [["17", "3.5", "18", "1.5"]]


# OWASP "CSV Injection" (from memory): a cell that starts with one of these runs in a spreadsheet.
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "  =", "＝"])
def test_a_cell_that_a_spreadsheet_would_run_is_made_inert(start):
    file = f'{start}HYPERLINK("http://x","y").wav'
    analysis = analysis_of(phrases_at([(0.0, 1.0)]), take=take_info(file))
    assert cells(analysis, "take") == [["'" + file]]


@pytest.mark.parametrize("start", ["\t", "\r", "\n", "\x1b", "\u202e", "\u00a0"])
def test_a_character_that_shows_nothing_shows_as_a_question_mark(start):
    analysis = analysis_of(phrases_at([(0.0, 1.0)]), take=take_info(f"{start}=1+1.wav"))
    assert cells(analysis, "take") == [["?=1+1.wav"]]


def test_evidence_from_text_is_made_inert_too():
    (phrase,) = phrases_at([(0.0, 1.0)])
    phrase = replace(phrase, evidence=evidence(1.0, grouping="=1+1"))
    assert cells(analysis_of((phrase,)), "grouping") == [["'=1+1"]]


@pytest.mark.parametrize("text", ["solo.wav", "a=b.wav", "1-2.wav", "(-).wav", ""])
def test_other_text_stays_as_it_is(text):
    assert inert_cell(text) == text


def test_a_negative_number_stays_a_number():
    (phrase,) = phrases_at([(0.0, 1.0)])
    phrase = replace(phrase, evidence=evidence(1.0, register=-7.25))
    content = CsvCues(("register",)).render(analysis_of((phrase,)))
    assert content == b"register\r\n-7.25\r\n"


def test_numbers_are_written_to_the_microsecond():
    assert cells(analysis_of(phrases_at([(1 / 3, 2 / 3)])), "start_s", "end_s") == [["0.333333", "0.666667"]]


@pytest.mark.parametrize(
    ("relation", "text"),
    [
        (Relation(RelationKind.NEW, None, None), "new"),
        (Relation(RelationKind.VARIES, 0, 0.8), "varies 01"),
        (Relation(RelationKind.ANSWERS, 11, 0.2), "answers 12"),
    ],
)
def test_a_relation_names_the_other_phrase_by_its_number(relation, text):
    assert cells(analysis_of(phrases_at([(0.0, 1.0)], relation=relation)), "relation") == [[text]]


def test_borderline_labels_share_a_cell():
    (phrase,) = phrases_at([(0.0, 1.0)])
    phrase = replace(phrase, evidence=replace(phrase.evidence, borderline=("length", "groove")))
    assert cells(analysis_of((phrase,)), "borderline") == [["length groove"]]
