"""A trend as JSON: read back by Python's json, the keys as they are documented."""

import json

import numpy as np
from trending import START, USUAL, drawn, sighting

from batch.settings import TrendSettings
from batch.trend.periods import Per
from batch.trend.rows import By, LeftOut, trend_of
from exporters.trend_json import render_json, trend_schema

CHANCE = np.random.default_rng(6)


def written(takes, by=None):
    content = render_json(trend_of(takes, Per.WEEK, by, settings=TrendSettings()))
    return json.loads(content.decode("ascii"))


def test_the_keys_are_those_that_are_documented():
    takes = [sighting(i, drawn(CHANCE, 12, USUAL | {"low": 0.0})) for i in range(12)]
    found = written(takes)
    assert list(found) == [
        "schema", "per", "by", "takes", "dated_by", "groups", "thin", "without_name", "why_null",
        "left_out", "own_lines", "names_asked", "names_fit",
    ]  # fmt: skip
    assert (found["schema"], found["takes"], found["dated_by"]) == ("takemill.trend/1", 12, {"recording": 12})
    (group,) = found["groups"]
    assert list(group) == ["name", "periods", "takes", "practice"]
    period = group["periods"][0]
    assert list(period) == [
        "period", "starts_on", "takes", "duration_s", "phrases", "variety", "low", "high", "scored_takes",
        "parts", "connectedness", "shares",
    ]  # fmt: skip
    # Take 0 is of Tuesday, 1 September 2026, which lies in ISO week 36 with the five days after it.
    assert (period["period"], period["starts_on"], period["takes"]) == ("2026-W36", "2026-08-31", 6)
    assert group["takes"][0]["at"] == START.isoformat()
    (suggestion,) = group["practice"]["suggestions"]
    assert (suggestion["label"], suggestion["count"], suggestion["measured"]) == ("low", 0, 120)
    assert suggestion["found"].startswith("Nothing low")
    assert len(suggestion["listen"]) == 3
    assert set(suggestion["listen"][0]) == {"title", "file", "start_s", "why"}


def test_the_published_schema_names_every_key():
    schema = trend_schema()
    assert set(schema["required"]) >= {"per", "groups", "why_null"}
    assert set(schema["properties"]) == set(written([sighting(i, drawn(CHANCE, 5)) for i in range(4)]))


def test_too_few_takes_are_a_file_that_says_so():
    found = written([sighting(0, drawn(CHANCE, 5))])
    assert (found["groups"], found["why_null"]) == (
        [],
        "1 take is too few for a trend; 4 or more are needed",
    )


def test_names_are_kept_as_they_are_even_if_they_are_no_text():
    name = 'a\udcff\x1b</b>"夜'
    takes = [sighting(i, drawn(CHANCE, 5), tune=name, title=name) for i in range(4)]
    found = written(takes, By.TUNE)
    assert found["groups"][0]["name"] == name
    assert found["groups"][0]["takes"][0]["title"] == name


def test_the_same_takes_make_the_same_bytes():
    takes = [sighting(i, drawn(CHANCE, 5)) for i in range(6)]
    one, other = (
        render_json(trend_of(each, Per.DAY, None, settings=TrendSettings())) for each in (takes, takes[::-1])
    )
    assert one == other


def test_what_is_left_out_is_counted():
    takes = [sighting(i, drawn(CHANCE, 5) if i else []) for i in range(5)]
    left_out = LeftOut(undated=1, gone=2, failed=3, asked=6, fits=4, unlike=frozenset({"register", "length"}))
    found = json.loads(render_json(trend_of(takes, Per.WEEK, settings=TrendSettings()), left_out))
    assert found["left_out"] == {"undated": 1, "gone": 2, "failed": 3, "silent": 1}
    assert found["own_lines"] == ["length", "register"]
    assert (found["names_asked"], found["names_fit"]) == (6, 4)
