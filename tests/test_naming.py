"""Which tune a take is of, and who plays: names as people give them."""

import time
from pathlib import Path

import pytest

from batch.naming import Named, named, parse, read


def tune(name: str, title: str | None = None) -> str | None:
    return named(Path("/gigs/Ada Quill") / f"{name}.wav", title, None).tune


@pytest.mark.parametrize(
    "name",
    ["Slow Lantern", "Slow Lantern take 2", "Slow_Lantern_03", "Slow Lantern (2)", "Slow Lantern [take 11]",
     "Slow Lantern-take-2", "Slow Lantern tk4", "Slow Lantern#3", "01 - Slow Lantern", "01. Slow Lantern",
     "Slow Lantern - 20261103-201500", "2026-11-03 Slow Lantern take 12", "Slow Lantern take"],
)  # fmt: skip
def test_takes_of_one_tune_share_its_name(name):
    assert tune(name) == "Slow Lantern"


@pytest.mark.parametrize(
    "name", ["12 bar shuffle", "intake", "Mistake", "Retake", "夜のランタン", "Partake in It"]
)
def test_a_tune_keeps_what_is_no_number_of_a_take(name):
    assert tune(name) == name


@pytest.mark.parametrize("name", ["take 3", "Take03", "20261103", "07", "___", "2026-11-03 take 2", "(2)"])
def test_a_number_alone_names_no_tune(name):
    assert tune(name) is None


@pytest.mark.parametrize(
    ("title", "expected"),
    [("Off Kilter (take 2)", "Off Kilter"), ("Off Kilter take 2", "Off Kilter"), ("Etude 5", "Etude 5"),
     ("Take 5", "Take 5"), ("Off Kilter", "Off Kilter")],
)  # fmt: skip
def test_a_title_is_the_tune_and_its_own_numbers_stay(title, expected):
    assert tune("x 2", title) == expected


def test_the_player_is_the_tags_else_the_folder():
    path = Path("/gigs/Ada Quill/x.wav")
    assert named(path, None, "Bo Marsh").player == "Bo Marsh"
    assert named(path, None, None).player == "Ada Quill"
    assert named(Path("/x.wav"), None, None).player is None


@pytest.mark.parametrize(
    ("pattern", "path", "expected"),
    [
        ("{date} {tune} take*", "2026-11-03 Off Kilter take 2", Named("Off Kilter", "gig", "2026-11-03")),
        ("{player} - {tune} - {date}", "Bo - Off Kilter - 20261103", Named("Off Kilter", "Bo", "20261103")),
        ("{player}/{tune} *", "Bo Marsh/Kilter 02 x", Named("Kilter", "Bo Marsh", None)),
        ("{player}/{date}/{tune}", "Bo/2026-11-03/Off_Kilter", Named("Off Kilter", "Bo", "2026-11-03")),
        ("{tune}/*", "Off Kilter/07", Named("Off Kilter", "Off Kilter", None)),
        ("*-{tune}", "a-b-c", Named("b-c", "gig", None)),
        ("{tune} {date}", "Off Kilter Blues 2026-11-03", Named("Off Kilter Blues", "gig", "2026-11-03")),
    ],
)  # fmt: skip
def test_a_pattern_reads_names_and_folders(pattern, path, expected):
    assert named(Path("/gig") / f"{path}.wav", None, None, pattern) == expected


def test_a_pattern_comes_before_the_tags_and_where_it_does_not_fit_they_tell():
    path = Path("/gig/Bo - Off Kilter.wav")
    assert named(path, "Title", "Tag", "{player} - {tune}") == Named("Off Kilter", "Bo")
    assert named(path, "Title", "Tag", "{date} {tune}") == Named("Title", "Tag")


@pytest.mark.parametrize(
    "pattern",
    ["", "blues", "*", "{tune}{player}", "{tune}*", "{tun} *", "{tune} {tune}", "{tune", "tune}", "{}",
     "{{tune}}", "{tune} {"],
)  # fmt: skip
def test_a_pattern_that_says_nothing_sure_is_refused(pattern):
    with pytest.raises(ValueError, match="no pattern"):
        parse(pattern)


def test_no_name_takes_long():
    # Backtracking without memory took minutes for a name of 120 spaces.
    began = time.process_time()
    assert read("{tune} {player} * * * *x", Path("/gig") / f"{' ' * 250}.wav") == {}
    assert time.process_time() - began < 5
