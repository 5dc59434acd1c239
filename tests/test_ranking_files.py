"""A ranking as CSV, read by pandas, and as JSON, read by Python's json."""

import csv
import io
import json
import math
import os
from dataclasses import replace

import pandas as pd
import pytest
from ranking import done, ranked

from batch.rank import Place, Ranked
from exporters.ranking import OURS, render_csv, render_json

HOSTILE = '=HYPERLINK("http://x"),\r\n<b>&\x00\x1b夜'


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


def test_a_hostile_title_does_no_harm():
    found = ranked([done("a.wav", 50.0, title=HOSTILE)])
    (row,) = csv.DictReader(io.StringIO(render_csv(found).decode(), newline=""))
    assert row["title"] == """'=HYPERLINK("http://x"),??<b>&??夜"""
    assert json.loads(render_json(found))[0]["title"] == HOSTILE


@pytest.mark.skipif(os.name != "posix", reason="paths as POSIX has them")
def test_a_file_name_that_is_no_text_is_still_listed():
    # A byte that is no UTF-8 arrives from the file system as a lone surrogate.
    found = ranked([done("a\udcffb.wav", 50.0)])
    assert b"a?b.wav" in render_csv(found)
    assert json.loads(render_json(found))[0]["take"] == "a\udcffb.wav"


def test_no_takes_make_files_without_takes():
    assert pd.read_csv(io.BytesIO(render_csv([]))).empty
    assert json.loads(render_json([])) == []


def test_a_ranking_of_ours_is_known_by_its_beginning_and_no_other_file_is():
    for kind, render in {"csv": render_csv, "json": render_json}.items():
        assert OURS[kind].match(render(RANKED)) and OURS[kind].match(render([]))
    assert not OURS["csv"].match(b"take,score\r\n")
    assert not OURS["json"].match(b'[\n {\n  "take": "a.wav",\n  "score": 1\n }\n]\n')
