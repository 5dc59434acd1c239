"""Chapters as WebVTT: read by webvtt-py and by ffprobe, and held against the standard's own rules."""

import json
import shutil
import subprocess
from dataclasses import replace
from io import StringIO
from itertools import pairwise
from pathlib import Path

import pytest
import webvtt
from building import analysis_of, phrases_at, take_info
from hypothesis import given
from hypothesis import strategies as st

from batch.names import MADE_BY
from batch.outline import outline_of
from batch.session import Layout, Placed, SessionTake
from exporters.chapters.chapter import Division
from exporters.chapters.takes import chapters_of
from exporters.webvtt import SessionVtt, WebVtt

TAKE = analysis_of(
    phrases_at([(0.5004, 2.0), (3.25, 5.1234567), (3600.0, 3601.0)]), take=take_info(duration_s=3700.5)
)
Cue = tuple[float, float, str]


def cues_of(content: bytes) -> list[Cue]:
    """Return start, end and text of each cue, as webvtt-py reads them."""
    read = webvtt.from_buffer(StringIO(content.decode("utf-8")))
    return [(seconds(cue.start), seconds(cue.end), cue.text) for cue in read]


def seconds(told: str) -> float:
    hours, minutes, rest = told.split(":")
    return round(int(hours) * 3600 + int(minutes) * 60 + float(rest), 3)


def placed(name: str, start_s: float, duration_s: float, phrases: int = 2) -> Placed:
    step_s = duration_s / (phrases + 1)
    spans = [(step_s * (i + 0.5), step_s * (i + 1)) for i in range(phrases)]
    analysis = analysis_of(phrases_at(spans), take=take_info(duration_s=duration_s))
    return Placed(SessionTake(name, f"{name}.wav", outline_of(analysis)), start_s)


def test_a_takes_chapters_are_read_back():
    cues = cues_of(WebVtt().render(TAKE))
    chapters = chapters_of(TAKE, Division())
    assert [text for _, _, text in cues] == [each.title for each in chapters]
    for (start_s, end_s, _), chapter in zip(cues, chapters, strict=True):
        assert start_s == pytest.approx(chapter.start_s, abs=0.0005001)
        assert end_s == pytest.approx(chapter.end_s, abs=0.0005001)


@pytest.mark.skipif(shutil.which("ffprobe") is None, reason="needs ffprobe")
def test_ffprobe_reads_the_same_times(tmp_path):
    # It reads WebVTT as subtitles: each chapter is a packet.
    path = tmp_path / "take.chapters.vtt"
    path.write_bytes(WebVtt().render(TAKE))
    packets = packets_of(path)
    chapters = chapters_of(TAKE, Division())
    assert [float(packet["pts_time"]) for packet in packets] == [each.start_ms / 1000 for each in chapters]
    lasts = [(each.end_ms - each.start_ms) / 1000 for each in chapters]
    assert [float(packet["duration_time"]) for packet in packets] == lasts


def packets_of(path: Path) -> list[dict[str, str]]:
    command = ["ffprobe", "-v", "error", "-show_packets", "-of", "json", str(path)]
    return json.loads(subprocess.run(command, capture_output=True, check=True, timeout=60).stdout)["packets"]


def test_a_file_is_as_the_standard_has_it():
    # 4.1: the string WEBVTT, a blank line, a comment block, cue blocks; hours have two digits or more.
    assert WebVtt().render(replace(TAKE, phrases=TAKE.phrases[:1])) == (
        b"WEBVTT\n\nNOTE "
        + MADE_BY.encode()
        + b"\n\n00:00:00.500 --> 01:01:40.500\n01 long dense against-groove\n"
    )


def test_a_take_without_phrases_has_a_file_without_cues():
    content = WebVtt().render(analysis_of(()))
    assert content.endswith(MADE_BY.encode() + b"\n")
    assert cues_of(content) == []


def test_a_session_has_a_cue_a_take_and_phrases_only_where_asked():
    layout = Layout((placed("one", 0.0, 60.0), placed("two", 62.0, 30.0)))
    assert cues_of(SessionVtt().render(layout)) == [(0.0, 60.0, "01 one"), (62.0, 92.0, "02 two")]
    inside = cues_of(SessionVtt(Division("phrase")).render(layout))
    assert [text for _, _, text in inside] == [
        "01 one", "01.01 long dense against-groove", "01.02 long dense against-groove",
        "02 two", "02.01 long dense against-groove", "02.02 long dense against-groove",
    ]  # fmt: skip
    assert inside[1][:2] == (10.0, 30.0)
    assert inside[5][:2] == (77.0, 92.0)


def test_a_long_take_in_a_session_has_sections():
    layout = Layout((placed("one", 0.0, 600.0, phrases=100),))
    cues = cues_of(SessionVtt(Division("section", most=5)).render(layout))
    assert [text for _, _, text in cues] == ["01 one"] + [
        f"{first:03}-{first + 19:03} long dense against" for first in range(1, 100, 20)
    ]


def test_a_take_that_the_next_overlaps_ends_where_that_starts():
    layout = Layout((placed("one", 0.0, 60.0), placed("two", 20.0, 60.0)))
    assert cues_of(SessionVtt().render(layout)) == [(0.0, 20.0, "01 one"), (20.0, 80.0, "02 two")]


def test_takes_that_start_together_share_a_chapter():
    layout = Layout((placed("left", 5.0, 60.0), placed("right", 5.0, 61.0), placed("next", 70.0, 5.0)))
    assert cues_of(SessionVtt().render(layout)) == [
        (5.0, 66.0, "01 left + 02 right"),
        (70.0, 75.0, "03 next"),
    ]


def test_a_take_that_could_not_be_heard_has_no_chapter():
    layout = Layout((placed("one", 0.0, 60.0), Placed(SessionTake("two", "two.wav", None), 62.0)))
    assert cues_of(SessionVtt().render(layout)) == [(0.0, 60.0, "01 one")]


NAMES = [
    "<b>bold</b> & sons",
    "a --> b",
    "two\nlines\r\n\r\n00:00:00.000 --> 00:01:00.000\nmore",
    "\u202egnal",
    "Ølåf",
]


@pytest.mark.parametrize("name", NAMES)
def test_a_name_only_shows_itself(name):
    content = SessionVtt().render(Layout((placed(name, 0.0, 60.0),)))
    text = content.decode("utf-8")
    # 4.2.3: a chapter's title has text spans, without & and <, and character references; 4.1: no arrow in it.
    assert text.count("-->") == 1
    assert len(text.splitlines()) == 6
    [(_, _, shown)] = cues_of(content)
    assert (
        "<" not in shown
        and shown.replace("&amp;", "").replace("&lt;", "").replace("&gt;", "").count("&") == 0
    )
    assert shown.startswith("01 ") and "\u202e" not in shown


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    """Draw takes that lie anywhere, over one another too."""
    spans = draw(st.lists(st.tuples(st.integers(0, 300), st.integers(1, 120), st.integers(0, 9)), max_size=9))
    return Layout(
        tuple(placed("take", start / 3, length / 7, count) for start, length, count in sorted(spans))
    )


@given(layouts(), st.sampled_from(["auto", "phrase", "section"]))
def test_cues_lie_inside_one_another_or_apart(layout, by):
    cues = cues_of(SessionVtt(Division(by)).render(layout))
    # 4.1: starts never go back, and each cue lasts; 4.5.1: one lies in the other, or they are apart.
    assert all(start_s < end_s for start_s, end_s, _ in cues)
    assert all(one[0] <= other[0] for one, other in pairwise(cues))
    for at, (start_s, end_s, _) in enumerate(cues):
        for other_start_s, other_end_s, _ in cues[at + 1 :]:
            apart = other_start_s >= end_s
            inside = start_s <= other_start_s and other_end_s <= end_s
            assert apart or inside
