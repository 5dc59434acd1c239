"""``--export`` and the index, end to end: the command with pages and pictures in plain words."""

import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sounding import line, write_midi_take
from test_cli import said_until, wait_for

COMMAND = (sys.executable, Path(__file__).with_name("exporting.py"))
MAIN = (".analysis.json", ".cues.csv", ".markers.mid")


def run(*arguments: object) -> subprocess.CompletedProcess[str]:
    command = [*map(str, (*COMMAND, *arguments))]
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)


@pytest.fixture
def gig(tmp_path: Path) -> Path:
    folder = tmp_path / "gig"
    folder.mkdir()
    write_midi_take(folder / "one.mid")
    write_midi_take(folder / "two.mid", line(phrases=5))
    return folder


def listed(gig: Path) -> list[str]:
    """Return what the index says after the folder's name."""
    return (gig / "markers" / "listen.html").read_text().splitlines()[2:]


def files_of(gig: Path) -> set[str]:
    return {path.name for path in (gig / "markers").iterdir()} - {"catalogue.sqlite"}


def test_pages_and_pictures_on_request_for_each_take_and_for_all(gig):
    (gig / "broken.mid").write_text("no notes")
    done = run("run", gig, "--export", "page", "--export", "picture")
    suffixes = (*MAIN, ".listen.html", ".phrases.svg")
    of_takes = {f"{name}{suffix}" for name in ("one", "two") for suffix in suffixes}
    assert files_of(gig) == of_takes | {"listen.html", "phrases.svg"}
    assert done.stdout.splitlines()[-2:] == [
        "listen.html: 2 takes side by side",
        "phrases.svg: 2 takes side by side",
    ]
    assert listed(gig)[2].startswith("broken.mid: is not a Standard MIDI File")
    assert done.returncode == 1  # for the broken take


def test_known_takes_get_pages_without_being_heard_and_a_run_without_news_says_nothing_more(gig):
    run("run", gig)
    assert "2 written again" in run("run", gig, "--export", "page").stdout
    again = run("run", gig)
    assert again.stdout.splitlines() == [f"2 heard before; files in {gig / 'markers'}"]
    assert (again.returncode, again.stderr) == (0, "")


def test_a_later_run_keeps_up_what_is_there(gig):
    run("run", gig, "--export", "page")
    (gig / "one.mid").rename(gig / "renamed.mid")
    (gig / "two.mid").unlink()
    assert "listen.html: 1 take side by side" in run("run", gig).stdout
    assert [text.split(" ")[0] for text in listed(gig)] == ["../renamed.mid", "and"]
    assert (gig / "markers" / "two.listen.html").is_file()
    assert not (gig / "markers" / "one.listen.html").exists()


def test_where_the_last_take_went_the_index_says_so(gig):
    run("run", gig, "--export", "page")
    for take in gig.glob("*.mid"):
        take.unlink()
    done = run("run", gig)
    assert done.stdout == "listen.html: 0 takes side by side\n"
    assert "no takes here" in done.stderr
    assert listed(gig) == ["and 0"]


@pytest.mark.parametrize("command", ["run", "watch"])
def test_an_export_that_is_none_is_wrong_use_before_anything_is_done(gig, command):
    done = run(command, gig, "--export", "pages")
    names = "notes, page, picture, cue-points, chapters, playlist, timeline, webvtt"
    said = f"takemill: --export pages: there is no such export; choose from {names}\n"
    assert (done.returncode, done.stderr) == (2, said)
    assert not (gig / "markers").exists()


def test_an_index_by_somebody_else_is_said_and_the_takes_are_done(gig):
    (gig / "markers").mkdir()
    (gig / "markers" / "listen.html").write_text("mine")
    done = run("run", gig, "--export", "page")
    problem = f"{gig / 'markers' / 'listen.html'}: is not by takemill and was left alone; move it away"
    assert (done.returncode, done.stderr) == (1, f"takemill: {problem}\n")
    assert (gig / "markers" / "one.listen.html").is_file()
    assert (gig / "markers" / "listen.html").read_text() == "mine"


@pytest.fixture
def watch(gig: Path) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    (gig / "takemill.toml").write_text("[watch]\nsettle_s = 0.5\n")
    begun = []

    def start(*arguments: str) -> subprocess.Popen[str]:
        command = [*map(str, (*COMMAND, "watch", gig, *arguments))]
        environment = os.environ | {"PYTHONUNBUFFERED": "1"}
        watcher = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=environment
        )
        begun.append(watcher)
        return watcher

    yield start
    for watcher in begun:
        watcher.kill()
        watcher.communicate()


def test_a_watcher_keeps_the_index_up_as_takes_come_fail_and_go(gig, watch):
    watcher = watch("--export", "page")
    said_until(watcher, "listen.html: 2 takes side by side")
    write_midi_take(gig / "three.mid", line(phrases=7))
    said_until(watcher, "listen.html: 3 takes side by side")
    wait_for(gig / "markers" / "three.listen.html")
    (gig / "broken.mid").write_text("no notes")
    said_until(watcher, "listen.html: 3 takes side by side")
    assert [text for text in listed(gig) if text.startswith("broken.mid: ")]
    (gig / "one.mid").unlink()
    said_until(watcher, "listen.html: 2 takes side by side")
    watcher.send_signal(signal.SIGTERM)
    watcher.communicate(timeout=10)
    for take in gig.glob("*.mid"):
        take.unlink()
    said_until(watch(), "listen.html: 0 takes side by side")
    assert listed(gig) == ["and 0"]
