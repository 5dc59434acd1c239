"""Disks that fill, folders that refuse or go, catalogues that are locked or damaged."""

import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest
from sounding import line, write_midi_take
from surviving import assert_all_is_well, prints


@pytest.fixture
def small_disk(tmp_path: Path):
    """A folder on a disk of its own with room for two takes' files, not for eight."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=192k", "tmpfs", folder]
    if sys.platform != "linux" or subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("needs the right to mount a disk")
    yield folder
    subprocess.run(["umount", folder], check=True)


def test_a_disk_that_fills_loses_nothing_and_goes_on_when_there_is_room(takemill, tmp_path, small_disk):
    takes = tmp_path / "takes"
    takes.mkdir()
    for number in range(8):
        write_midi_take(takes / f"take{number}.mid", line(phrases=12 + number))
    before = prints(takes)
    full = takemill("run", takes, "--out", small_disk / "markers")
    assert full.returncode in {1, 2}
    assert "No space left on device" in full.stderr or "disk is full" in full.stderr or "full?" in full.stderr
    assert "Traceback" not in full.stderr
    partial = [path for path in small_disk.rglob("*") if path.name.startswith(".takemill-")]
    assert partial == []
    subprocess.run(["mount", "-o", "remount,size=8m", small_disk], check=True)
    assert takemill("run", takes, "--out", small_disk / "markers").returncode == 0
    shutil.copytree(small_disk / "markers", takes / "markers")
    assert_all_is_well(takes, {f"take{number}" for number in range(8)})
    assert prints(takes) == before


@pytest.mark.skipif(os.geteuid() == 0, reason="root writes everywhere")
def test_an_output_folder_made_read_only_is_said_and_the_takes_wait(takemill, tmp_path):
    write_midi_take(tmp_path / "one.mid")
    (tmp_path / "markers").mkdir(mode=0o500)
    refused = takemill("run", tmp_path)
    assert (refused.returncode, len(refused.stderr.splitlines())) == (2, 1)
    assert "cannot be written to" in refused.stderr
    (tmp_path / "markers").chmod(0o700)
    assert takemill("run", tmp_path).returncode == 0
    assert_all_is_well(tmp_path, {"one"})


@pytest.mark.parametrize("how", ["words", "half", "page", "gone", "empty"])
def test_a_damaged_catalogue_is_made_anew_and_nothing_is_heard_again(takemill, tmp_path, how):
    takes = {f"take{number}" for number in range(3)}
    for take in takes:
        write_midi_take(tmp_path / f"{take}.mid", line(phrases=4 + int(take[-1])))
    assert takemill("run", tmp_path).returncode == 0
    ranking = takemill("rank", tmp_path, "--format", "csv").stdout
    path = tmp_path / "markers" / "catalogue.sqlite"
    damage(path, how)
    mended = takemill("run", tmp_path)
    assert mended.returncode == 0
    assert "3 takes known from their analyses" in mended.stderr
    assert "3 written again" in mended.stdout, "known by their content"
    for aside in path.parent.glob("catalogue.damaged-*"):
        assert how != "gone"
        aside.unlink()
    assert_all_is_well(tmp_path, takes)
    assert takemill("rank", tmp_path, "--format", "csv").stdout == ranking


def damage(path: Path, how: str) -> None:
    content = path.read_bytes()
    match how:
        case "words":
            path.write_bytes(b"not a catalogue at all" * 100)
        case "half":
            path.write_bytes(content[: len(content) // 2])
        case "page":
            path.write_bytes(content[:4096] + b"\xa5" * (len(content) - 4096))
        case "gone":
            path.unlink()
        case "empty":
            path.write_bytes(b"")


def test_a_ranking_of_a_damaged_catalogue_mends_it_first(takemill, tmp_path):
    write_midi_take(tmp_path / "one.mid")
    takemill("run", tmp_path)
    before = takemill("rank", tmp_path).stdout
    damage(tmp_path / "markers" / "catalogue.sqlite", "words")
    ranked = takemill("rank", tmp_path)
    assert (ranked.returncode, ranked.stdout) == (0, before)
    assert "set aside as catalogue.damaged-" in ranked.stderr


def test_a_catalogue_that_another_program_locks_is_said_and_nothing_is_lost(takemill, tmp_path):
    write_midi_take(tmp_path / "one.mid")
    assert takemill("run", tmp_path).returncode == 0
    write_midi_take(tmp_path / "two.mid", line(phrases=5))
    with closing(sqlite3.connect(tmp_path / "markers" / "catalogue.sqlite")) as other:
        other.execute("BEGIN EXCLUSIVE")
        locked = takemill("run", tmp_path)
    assert (locked.returncode, len(locked.stderr.splitlines())) == (2, 1)
    assert "is another program writing to it" in locked.stderr
    assert takemill("run", tmp_path).returncode == 0
    assert_all_is_well(tmp_path, {"one", "two"})


def test_a_clock_that_is_set_back_changes_nothing(takemill, tmp_path):
    take = write_midi_take(tmp_path / "one.mid")
    for year_s in (4_000_000_000, 100_000_000):  # the years 2096 and 1973
        os.utime(take, (year_s, year_s))
        assert takemill("run", tmp_path).returncode == 0
    write_midi_take(take, line(phrases=5))
    os.utime(take, (50_000_000, 50_000_000))
    assert "one.mid: 5 phrases" in takemill("run", tmp_path).stdout
    assert_all_is_well(tmp_path, {"one"})


@pytest.mark.skipif(os.geteuid() == 0, reason="root reads everything")
def test_a_take_whose_permission_was_taken_away_is_heard_when_it_is_given_back(takemill, tmp_path):
    take = write_midi_take(tmp_path / "one.mid")
    take.chmod(0)
    refused = takemill("run", tmp_path)
    assert (refused.returncode, "may not be read; give yourself read permission" in refused.stderr) == (
        1,
        True,
    )
    take.chmod(0o600)
    assert takemill("run", tmp_path).returncode == 0
    assert_all_is_well(tmp_path, {"one"})
