"""A ranking as files: CSV read by pandas, JSON by Python's json, XSPF by ElementTree."""

import csv
import io
import json
import math
import os
from dataclasses import replace
from pathlib import Path
from urllib.parse import unquote, urlsplit
from xml.etree import ElementTree

import pandas as pd
import pytest
from ranking import ranked

from batch.entry import Entry, State
from batch.rank import Place, Ranked
from exporters.ranking import render_csv, render_json, render_xspf

XSPF = {"x": "http://xspf.org/ns/0/"}
HOSTILE = '=HYPERLINK("http://x"),\r\n<b>&\x00\x1b夜'


def done(name: str, score: float | None, **more: object) -> Entry:
    spread = None if score is None else 5.0
    entry = Entry(
        Path("/gig") / name,
        State.DONE,
        duration_s=61.2345,
        phrases=12,
        score=score,
        low=None if spread is None else score - spread,
        high=None if spread is None else score + spread,
        parts={"length": 0.5, "groove": None},
    )
    return replace(entry, **more)


RANKED = ranked(
    [
        done("b.wav", 20.0, title="Blues"),
        done("a, b.wav", 80.0, tempo_bpm=133.0),
        done("short.wav", None, parts={}, why_null="fewer than 4 phrases"),
    ]
)


def test_pandas_reads_a_row_a_take_in_order():
    table = pd.read_csv(io.BytesIO(render_csv(RANKED)))
    assert list(table["take"]) == ["a, b.wav", "b.wav", "short.wav"]
    assert list(table["best_place"]) == [1, 2, 3]
    assert list(table["value"])[:2] == [80.0, 20.0]
    assert math.isnan(table["value"][2])
    assert list(table["length"])[:2] == [0.5, 0.5]
    assert table["groove"].isna().all()
    assert table["why_null"][2] == "fewer than 4 phrases"


def test_csv_lines_end_as_rfc_4180_has_them():
    content = render_csv(RANKED)
    assert content.count(b"\r\n") == content.count(b"\n") == 4


@pytest.mark.parametrize("parts", [None, {}, {"register": 0.1}])
def test_takes_may_have_different_parts(parts):
    first, *rest = RANKED
    odd = Ranked(replace(first.entry, parts=parts), Place("odd", 80.0, 1, 1))
    table = pd.read_csv(io.BytesIO(render_csv([odd, *rest])))
    assert len(table) == 3
    assert table["length"][1] == 0.5


def test_json_is_read_back_with_every_take():
    first, second, third = json.loads(render_json(RANKED))
    assert (first["take"], first["value"], first["low"], first["high"]) == ("a, b.wav", 80.0, 75.0, 85.0)
    assert (second["title"], second["phrases"], second["length"]) == ("Blues", 12, 0.5)
    assert (third["score"], third["best_place"], third["worst_place"]) == (None, 3, 3)


def tracks_of(content: bytes) -> list[ElementTree.Element]:
    root = ElementTree.fromstring(content)
    assert (root.tag, root.get("version")) == ("{http://xspf.org/ns/0/}playlist", "1")
    (track_list,) = root.findall("x:trackList", XSPF)
    return track_list.findall("x:track", XSPF)


def test_a_playlist_plays_the_recordings_in_order():
    tracks = tracks_of(render_xspf(RANKED))
    places = [urlsplit(track.findtext("x:location", "", XSPF)) for track in tracks]
    assert {place.scheme for place in places} == {"file"}
    assert [unquote(place.path) for place in places] == ["/gig/a, b.wav", "/gig/b.wav", "/gig/short.wav"]
    assert [track.findtext("x:title", "", XSPF) for track in tracks] == ["a, b.wav", "Blues", "short.wav"]
    # XSPF 1 counts durations in whole milliseconds: 61.2345 s is 61,234 or 61,235.
    assert {track.findtext("x:duration", "", XSPF) for track in tracks} <= {"61234", "61235"}


@pytest.mark.parametrize("name", ["Ä – 夜.wav", "a b#c?d%20&.wav", "<solo>.wav"])
def test_a_location_is_a_uri_that_leads_back_to_the_file(name):
    # RFC 3986: outside its reserved and unreserved characters everything is percent-encoded.
    (track,) = tracks_of(render_xspf(ranked([done(name, 50.0)])))
    location = track.findtext("x:location", "", XSPF)
    assert location.isascii() and " " not in location
    parts = urlsplit(location)
    assert (unquote(parts.path), parts.query, parts.fragment) == (f"/gig/{name}", "", "")


def test_a_hostile_title_does_no_harm():
    found = ranked([done("a.wav", 50.0, title=HOSTILE)])
    (row,) = csv.DictReader(io.StringIO(render_csv(found).decode(), newline=""))
    assert row["title"] == """'=HYPERLINK("http://x"),??<b>&??夜"""
    assert json.loads(render_json(found))[0]["title"] == HOSTILE
    (track,) = tracks_of(render_xspf(found))
    assert track.findtext("x:title", "", XSPF) == '=HYPERLINK("http://x"),??<b>&??夜'


@pytest.mark.skipif(os.name != "posix", reason="paths as POSIX has them")
def test_a_file_name_that_is_no_text_is_still_listed():
    # A byte that is no UTF-8 arrives from the file system as a lone surrogate.
    found = ranked([done("a\udcffb.wav", 50.0)])
    assert b"a?b.wav" in render_csv(found)
    assert json.loads(render_json(found))[0]["take"] == "a\udcffb.wav"
    (track,) = tracks_of(render_xspf(found))
    assert track.findtext("x:location", "", XSPF) == "file:///gig/a%FFb.wav"
    assert track.findtext("x:title", "", XSPF) == "a?b.wav"


def test_a_take_of_unknown_length_has_no_duration():
    (track,) = tracks_of(render_xspf(ranked([done("a.wav", 50.0, duration_s=None)])))
    assert track.find("x:duration", XSPF) is None


def test_no_takes_make_files_without_takes():
    assert pd.read_csv(io.BytesIO(render_csv([]))).empty
    assert json.loads(render_json([])) == []
    assert tracks_of(render_xspf([])) == []
