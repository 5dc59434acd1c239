"""Which files of a folder are takes, in the folders below it too, by patterns, behind links."""

import os
from pathlib import Path

import pytest

from batch.folder import forget_settings, settings_of
from batch.kinds import is_take_name
from batch.scan import gather, scan, takes_in


@pytest.fixture(autouse=True)
def _nothing_remembered() -> None:
    forget_settings()


def lay(folder: Path, *files: str, settings: str = "") -> Path:
    for file in files:
        path = folder / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(b"")
    if settings:
        (folder / "takemill.toml").write_text(settings)
    return folder


def found(folder: Path, out: Path | None = None) -> list[str]:
    return [path.relative_to(folder).as_posix() for path in takes_in(folder, out)]


FILES = ("a.wav", "b.flac", "friday/c.wav", "friday/late/d.wav", ".hidden/e.wav", "markers/f.wav")


def test_folders_below_are_left_alone_unless_asked_for(tmp_path):
    assert found(lay(tmp_path, *FILES)) == ["a.wav", "b.flac"]


def test_folders_below_are_read_but_not_hidden_ones_nor_where_takemill_writes(tmp_path):
    lay(tmp_path, *FILES, "friday/markers/g.wav", "cues/h.wav", settings="[folder]\nsubfolders = true\n")
    assert found(tmp_path, tmp_path / "cues") == ["a.wav", "b.flac", "friday/c.wav", "friday/late/d.wav"]


@pytest.mark.parametrize(
    ("settings", "expected"),
    [
        ('include = ["*.wav"]', ["a.wav", "friday/c.wav", "friday/late/d.wav"]),
        ('exclude = ["[ab].*"]', ["friday/c.wav", "friday/late/d.wav"]),
        ('exclude = ["late"]', ["a.wav", "b.flac", "friday/c.wav"]),
        ('include = ["friday/*"]', ["friday/c.wav"]),
        ('include = ["*.wav"]\nexclude = ["friday/*.wav"]', ["a.wav", "friday/late/d.wav"]),
    ],
)
def test_patterns_choose_takes_and_folders(tmp_path, settings, expected):
    assert found(lay(tmp_path, *FILES, settings=f"[folder]\nsubfolders = true\n{settings}\n")) == expected


def test_a_take_that_is_named_is_one_whatever_the_patterns_say(tmp_path):
    lay(tmp_path, "a.wav", settings='[folder]\ninclude = ["*.flac"]\n')
    assert gather([tmp_path / "a.wav"]) == ([tmp_path / "a.wav"], [])
    assert gather([tmp_path])[0] == []


def test_the_newest_comes_first_if_so_asked(tmp_path):
    lay(tmp_path, "a.wav", "b.wav", "c.wav", settings="[folder]\nnewest_first = true\n")
    for name, second in (("a", 2), ("b", 3), ("c", 1)):
        os.utime(tmp_path / f"{name}.wav", (second, second))
    assert found(tmp_path) == ["b.wav", "a.wav", "c.wav"]


def test_links_to_files_are_takes_and_links_to_folders_are_not_entered(tmp_path):
    outside = lay(tmp_path / "outside", "far.wav", "deep/deeper.wav")
    folder = lay(tmp_path / "takes", "near.wav", settings="[folder]\nsubfolders = true\n")
    (folder / "link.wav").symlink_to(outside / "far.wav")
    (folder / "gone.wav").symlink_to(outside / "nowhere.wav")
    (folder / "circle.wav").symlink_to(folder / "circle.wav")
    (folder / "way out").symlink_to(outside)
    (folder / "round").symlink_to(folder)
    assert found(folder) == ["link.wav", "near.wav"]


def test_pipes_folders_and_what_may_not_be_read_are_no_takes(tmp_path):
    lay(tmp_path, "a.wav", "b.wav/inside.txt", settings="[folder]\nsubfolders = true\n")
    os.mkfifo(tmp_path / "c.wav")
    assert found(tmp_path) == ["a.wav"]


@pytest.mark.parametrize(
    "name",
    ["take.wav.part", "take.part.wav", "take.tmp.wav", "take.wav.crdownload", "~take.wav", ".take.wav"],
)
def test_what_a_program_has_not_finished_is_no_take(name):
    assert not is_take_name(name)


def test_settings_hold_for_the_folders_below_that_have_none(tmp_path):
    lay(tmp_path, "friday/a.wav", "friday/late/b.wav", settings="[grid]\ntempo_bpm = 90.0\n")
    lay(tmp_path / "friday" / "late", settings="[grid]\ntempo_bpm = 200.0\n")
    assert settings_of(tmp_path / "friday").grid.tempo_bpm == 90
    assert settings_of(tmp_path / "friday" / "late").grid.tempo_bpm == 200


def test_tempo_maps_companions_and_settings_are_context(tmp_path):
    lay(tmp_path, "a.wav", "a.tempo.mid", "tempo.mid", "a.click.wav", settings="[folder]\n")
    assert {path.name for path in scan(tmp_path).context} == {
        "a.tempo.mid", "tempo.mid", "a.click.wav", "takemill.toml",
    }  # fmt: skip
