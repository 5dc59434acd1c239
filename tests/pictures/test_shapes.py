"""Blocks by hand arithmetic, and thumbnails of takes."""

from xml.etree import ElementTree

import pytest
from building import analysis_of, grid_of, take_info
from hypothesis import given
from hypothesis import strategies as st
from picturing import KINDS, corners, many_phrases, phrase

from batch.height import height_share
from batch.model import Groove
from batch.outline import outline_of
from exporters.pictures.shapes import block, thumbnail

AGAINST = Groove.AGAINST_GROOVE


def of(*phrases, duration_s=20.0, grid=None):
    return outline_of(analysis_of(phrases, take=take_info(duration_s=duration_s), grid=grid))


def test_an_upright_block_is_a_rectangle():
    assert corners(block(10, 30, 50, 20)) == [[(10, 50), (10, 30), (30, 30), (30, 50)]]


# A third of the height of 24 is 8; half of the width of 10 is 5; a sixth of the full height of 30 is 5.
@pytest.mark.parametrize(
    ("width", "height", "full", "shift"), [(40, 24, 30, 8), (10, 24, 30, 5), (40, 6, 30, 5)]
)
def test_a_leaning_block_lies_in_its_span_with_its_top_shifted(width, height, full, shift):
    (corner,) = corners(block(100, 100 + width, 50, height, full))
    top = 50 - height
    assert corner == [(100, 50), (100 + shift, top), (100 + width, top), (100 + width - shift, 50)]


# The medians of annotated solos, 1.94 a beat and 5.8 a second, are a third of the full height.
@pytest.mark.parametrize(
    ("density", "in_beats", "share"),
    [(5.82 / 3, True, 1 / 3), (17.4 / 3, False, 1 / 3), (100, True, 1), (0, True, 0.12), (0.1, False, 0.12)],
)
def test_height_is_density_up_to_three_times_the_median(density, in_beats, share):
    assert height_share(density, in_beats=in_beats) == pytest.approx(share, abs=0.002)


def test_a_thumbnail_spans_the_take():
    # 240 pixels less one at each side: 238 for 20 s, so 5 s are at 60.5 and 10 s at 120.
    root = ElementTree.fromstring(thumbnail(of(phrase(5, 10, density=99), grid=grid_of([0, 1], [1, 2]))))
    (drawn,) = [path for path in root.iter("path") if path.get("class") == "in dense"]
    assert corners(drawn.get("d")) == [[(60.5, 23), (60.5, 1), (120, 1), (120, 23)]]


def test_a_thumbnail_has_a_path_for_each_kind_and_says_what_it_shows():
    shown = of(
        phrase(1, 2),
        phrase(3, 4),
        phrase(5, 6, groove=AGAINST, dense=False),
        phrase(7, 9, groove=Groove.UNMEASURED, long=True),
    )
    root = ElementTree.fromstring(thumbnail(shown))
    assert [path.get("class") for path in root.iter("path")] == [
        "line",
        "in dense",
        "against sparse",
        "none dense",
    ]
    assert root.get("aria-label").split("; ") == [
        "4 phrases: 3 short, 1 long",
        "1 sparse, 3 dense",
        "2 in the groove, 1 against it, 1 with the groove unmeasured",
    ]
    assert root.get("role") == "img"


def test_a_take_without_phrases_is_a_line():
    root = ElementTree.fromstring(thumbnail(of(duration_s=0.0)))
    assert [path.get("class") for path in root.iter("path")] == ["line"]
    assert root.get("aria-label") == "no phrases"


@given(many_phrases(), st.integers(20, 400), st.integers(8, 60))
def test_every_phrase_is_in_the_thumbnail_and_can_be_seen(phrases, width, height):
    root = ElementTree.fromstring(thumbnail(of(*phrases), width, height))
    paths = [path for path in root.iter("path") if path.get("class") in KINDS]
    pieces = [piece for path in paths for piece in corners(path.get("d"))]
    assert len(pieces) == len(phrases)
    assert len(paths) <= 6
    for piece in pieces:
        xs, ys = [x for x, _ in piece], [y for _, y in piece]
        assert 0 <= min(xs) < max(xs) <= width
        assert 0 <= min(ys) < max(ys) <= height
