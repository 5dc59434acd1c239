"""What files are called: the rules of the design document, worked by hand, and uniqueness as a property."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batch.names import absolute, output_names

GIG = Path("/gig")


def named(*paths: str) -> list[str]:
    takes = [GIG / path for path in paths]
    names = output_names(takes)
    return [names[take] for take in takes]


def test_a_take_alone_is_called_by_its_stem():
    assert named("solo.wav") == ["solo"]
    assert named("a.b.flac") == ["a.b"]


def test_takes_of_different_stems_keep_them():
    assert named("one.wav", "two.wav", "three.flac") == ["one", "two", "three"]


def test_takes_that_share_a_stem_keep_their_extension():
    assert named("solo.wav", "solo.flac", "other.wav") == ["solo.wav", "solo.flac", "other"]


def test_one_file_name_in_two_folders_puts_the_folder_in_front():
    assert named("monday/solo.wav", "friday/solo.wav") == ["monday-solo.wav", "friday-solo.wav"]


def test_folders_of_one_name_put_the_next_folder_in_front():
    assert named("a/takes/solo.wav", "b/takes/solo.wav") == ["a-takes-solo.wav", "b-takes-solo.wav"]


def test_the_same_take_twice_is_one_take():
    assert output_names([GIG / "solo.wav", GIG / "solo.wav"]) == {GIG / "solo.wav": "solo"}


def test_case_is_no_difference():
    # Windows and macOS disks would open one file for both.
    assert named("Solo.wav", "solo.flac") == ["Solo.wav", "solo.flac"]


@pytest.mark.parametrize(
    "paths",
    [
        ("Solo.wav", "solo.wav"),
        ("A/solo.wav", "a/solo.wav"),
        # Both put their folder in front, and it reads the same: a-b-c.wav.
        ("a/b-c.wav", "z/b-c.wav", "a-b/c.wav", "z/c.wav"),
        ("solo.wav", "solo.flac", "solo.wav.mp3"),
        ("solo.wav", "SOLO.wav", "solo.wav-1.mp3"),
    ],
)
def test_what_reads_the_same_is_told_apart(paths):
    names = named(*paths)
    assert len({name.casefold() for name in names}) == len(paths)


FOLDERS = st.lists(st.sampled_from(["a", "A", "b", "a-b", "b-c", "c"]), max_size=3)
FILES = st.sampled_from(["c", "C", "b-c", "a-b-c", "c.wav", "c.wav-1"]).flatmap(
    lambda stem: st.sampled_from([f"{stem}.wav", f"{stem}.flac", f"{stem}.WAV"])
)
TAKES = st.lists(st.builds(lambda folders, file: GIG.joinpath(*folders, file), FOLDERS, FILES), max_size=12)


@given(TAKES)
def test_no_two_takes_share_a_name_even_where_case_is_no_difference(takes):
    names = output_names(takes)
    assert names.keys() == set(takes)
    assert len({name.casefold() for name in names.values()}) == len(names)


@given(TAKES)
def test_a_name_is_one_file_name_that_says_which_take(takes):
    for path, name in output_names(takes).items():
        assert "/" not in name and name
        assert path.stem in name


@given(TAKES, st.randoms())
def test_names_do_not_depend_on_the_order_of_the_takes(takes, chance):
    shuffled = chance.sample(takes, len(takes))
    assert output_names(shuffled) == output_names(takes)


def test_no_takes_have_no_names():
    assert output_names([]) == {}


def test_a_path_is_absolute_without_dots_and_keeps_its_links(tmp_path, monkeypatch):
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    monkeypatch.chdir(tmp_path)
    assert absolute(Path("link/../link/solo.wav")) == tmp_path / "link" / "solo.wav"
