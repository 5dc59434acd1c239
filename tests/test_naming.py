"""Which tune a take is of, and who plays: names as people give them."""

import time
from dataclasses import replace
from pathlib import Path

import pytest

from batch.naming import Named, named, parse, read, stems_of


def tune(name: str, title: str | None = None) -> str | None:
    return named(Path("/gigs/Ada Quill") / f"{name}.wav", title, None).tune


@pytest.mark.parametrize(
    "name",
    ["Slow Lantern", "Slow Lantern take 2", "Slow_Lantern_03", "Slow Lantern (2)", "Slow Lantern [take 11]",
     "Slow Lantern-take-2", "Slow Lantern tk4", "Slow Lantern#3", "01 - Slow Lantern", "01. Slow Lantern",
     "Slow Lantern - 20261103-201500", "2026-11-03 Slow Lantern take 12", "Slow Lantern take",
     "05.11.2026 Slow Lantern", "Slow Lantern 05-11-2026", "Slow Lantern 03"],
)  # fmt: skip
def test_takes_of_one_tune_share_its_name(name):
    assert tune(name) == "Slow Lantern"


@pytest.mark.parametrize(
    "name",
    ["12 bar shuffle", "intake", "Mistake", "Retake", "夜のランタン", "Partake in It", "4 on 6", "Route 66",
     "9.20 Special", "26-2", "Blues for Tk"],
)  # fmt: skip
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
        ("{tune} Take *", "Off Kilter TAKE 2", Named("Off Kilter", "gig")),
    ],
)  # fmt: skip
def test_a_pattern_reads_names_and_folders(pattern, path, expected):
    assert named(Path("/gig") / f"{path}.wav", None, None, pattern) == replace(expected, fits=True)


def test_a_pattern_comes_before_the_tags_and_where_it_does_not_fit_they_tell():
    path = Path("/gig/Bo - Off Kilter.wav")
    assert named(path, "Title", "Tag", "{player} - {tune}") == Named("Off Kilter", "Bo", fits=True)
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


@pytest.mark.parametrize(
    ("names", "tunes"),
    [
        (["Slow Lantern 1", "Slow Lantern 2"], {"Slow Lantern"}),
        (["slow lantern", "Slow Lantern-2"], {"slow lantern", "Slow Lantern"}),
        (["Route 66", "Route 66 2"], {"Route 66"}),
        (["2026-11-03 Route 66", "2026-11-05 Route 66", "Route 66 take 1"], {"Route 66"}),
        (["Route 66", "Slow Lantern 2"], {"Route 66", "Slow Lantern 2"}),
    ],
)
def test_a_plain_number_goes_where_other_takes_share_the_name(names, tunes):
    paths = [Path("/gig") / f"{name}.wav" for name in names]
    stems = stems_of(paths)
    assert {named(path, None, None, stems=stems).tune for path in paths} == tunes


@pytest.mark.parametrize("folder", ["2026-11-03", "20261103", "03.11.2026", "2026-11", "2026"])
def test_a_folder_that_is_only_a_date_plays_nothing(folder):
    top = Path("/gigs")
    assert named(top / "Ada Quill" / folder / "x.wav", None, None, top=top).player == "Ada Quill"
    assert named(top / folder / "x.wav", None, None, top=top).player is None


def test_the_folder_of_all_takes_is_no_player_but_tags_are():
    top = Path("/gigs")
    assert named(top / "x.wav", None, None, top=top).player is None
    assert named(top / "x.wav", None, "Bo Marsh", top=top).player == "Bo Marsh"
    assert named(top / "Ada Quill" / "x.wav", None, None, top=top).player == "Ada Quill"


def test_a_pattern_is_known_to_fit_or_not():
    assert named(Path("/gig/SOLO Off Kilter.wav"), None, None, "solo {tune}").fits
    assert not named(Path("/gig/Off Kilter.wav"), None, None, "solo {tune}").fits


def test_small_letters_keep_their_places():
    # The capital I with a dot becomes two characters in small letters.
    assert read("{tune} TAKE *", Path("/gig/İİİ Lantern take 2.wav")) == {"tune": "İİİ Lantern"}
